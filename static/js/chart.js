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

async function draw(place) {
  const figure = JSON.parse(document.getElementById(place.dataset.figure).textContent);
  await Plotly.newPlot(place, figure.data, figure.layout, CONFIG);
  await Plotly.relayout(place, pageColours());
  place.classList.add("chart-drawn");
}

for (const place of document.querySelectorAll(".chart[data-figure]")) draw(place);

matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
  for (const place of document.querySelectorAll(".chart-drawn")) Plotly.relayout(place, pageColours());
});
