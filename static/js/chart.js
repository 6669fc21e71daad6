// Draws each figure that Python built: <div class="chart" data-figure="id of a JSON script">.
const CONFIG = {
  responsive: true,
  displaylogo: false,
  showSendToCloud: false,
  plotlyServerURL: "",
  showTips: false,
  doubleClick: "reset",
  scrollZoom: false,
  modeBarButtons: [["zoomIn2d", "zoomOut2d", "resetScale2d", "toImage"]],
};

const token = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

// Colours of text and lines follow the page, light or dark.
function pageColours() {
  const line = token("--hairline");
  return {
    "font.color": token("--ink"),
    "font.family": token("--working"),
    "font.size": 14,
    "xaxis.gridcolor": line,
    "yaxis.gridcolor": line,
    "yaxis.zerolinecolor": token("--ink-soft"),
    "modebar.color": token("--ink-soft"),
    "modebar.activecolor": token("--accent"),
    "modebar.bgcolor": "rgba(0,0,0,0)",
    "hoverlabel.bgcolor": token("--sheet"),
    "hoverlabel.bordercolor": token("--ink-soft"),
    "hoverlabel.font.color": token("--ink"),
  };
}

// The page's own shade of each data colour: lighter on a dark page.
const DATA_COLOURS = { "#0072b2": "--blue", "#d55e00": "--vermilion", "#7f7a74": "--ink-soft" };

function figureOf(place) {
  let text = document.getElementById(place.dataset.figure).textContent;
  for (const [colour, name] of Object.entries(DATA_COLOURS)) text = text.replaceAll(colour, token(name));
  return JSON.parse(text);
}

async function draw(place) {
  const figure = figureOf(place);
  await Plotly.react(place, figure.data, figure.layout, CONFIG);
  await Plotly.relayout(place, pageColours());
  place.classList.add("chart-drawn");
}

for (const place of document.querySelectorAll(".chart[data-figure]")) draw(place);

matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
  for (const place of document.querySelectorAll(".chart-drawn")) draw(place);
});
