"""The query that places every open episode on the caseload.

It says in SQL what `due.py`, `scheduling.recalls` and `concern.py` say of one episode, because the
list of a whole practice is sorted by it; a test holds it to those rules. `{chosen}`, `{letters}`
and `{garments}` are queries of the ORM. Everything that a rule names is a parameter. Volumes in mL.
"""

from clinic.overview.caseload import DueBy, JudgedAs, Order
from clinic.overview.concern import Concern, FlagKind

OPENED = """
WITH chosen (id, client_id, opened_on, therapist_id, referrer_id) AS MATERIALIZED ({chosen}),
phases AS (
  SELECT DISTINCT ON (episode_id) episode_id, phase, since_on
  FROM clients_phasechange WHERE episode_id IN (SELECT id FROM chosen)
  ORDER BY episode_id, since_on DESC, id DESC
), opened AS MATERIALIZED (
  SELECT chosen.*, phases.phase, phases.since_on AS phase_since_on
  FROM chosen JOIN phases ON phases.episode_id = chosen.id
  WHERE phases.phase <> 'discharged'
    AND (%(phase)s::text IS NULL OR phases.phase = %(phase)s::text)
)"""

# What was examined and taped.
EXAMINED = """, findings AS (
  SELECT DISTINCT ON (region_id) region_id, nullif(stage, '') AS stage
  FROM measurements_limbfindings ORDER BY region_id, found_on DESC, recorded_at DESC
), regions AS (
  SELECT own.episode_id, bool_or(own.region = 'arm') AS has_arm,
    bool_or(own.region = 'leg') AS has_leg, bool_or(findings.stage IS NULL) AS is_unstaged,
    max(array_position(%(stages)s::text[], findings.stage::text)) AS stage_rank,
    (array_agg(words.name ORDER BY own.id))[1] AS first_name
  FROM clients_affectedregion AS own
  LEFT JOIN findings ON findings.region_id = own.id
  LEFT JOIN unnest(%(regions)s::text[], %(sides)s::text[], %(region_names)s::text[])
    AS words (region, side, name) ON words.region = own.region AND words.side = own.side
  WHERE own.episode_id IN (SELECT id FROM opened) GROUP BY own.episode_id
), taped AS (
  SELECT episode_id, max(taken_on) FILTER (WHERE limb = 'arm') AS arm_on,
    max(taken_on) FILTER (WHERE limb = 'leg') AS leg_on
  FROM measurements_girthsession
  WHERE struck_at IS NULL AND episode_id IN (SELECT id FROM opened) GROUP BY episode_id
), drafts AS (
  SELECT episode_id, max(saved_at AT TIME ZONE %(zone)s)::date AS saved_on
  FROM measurements_girthdraft GROUP BY episode_id
)"""

# `measurements.standing`: the change told, whether it is a rise, and by how many percent.
STANDINGS = """, kept AS (
  SELECT *, before_on IS NULL OR (before_verdict = 'within_error' AND baseline_on IS NOT NULL
    AND baseline_verdict <> 'within_error') AS is_since_baseline
  FROM measurements_keptstanding WHERE episode_id IN (SELECT id FROM opened)
), told AS (
  SELECT *, CASE WHEN is_since_baseline THEN baseline_ml ELSE before_ml END AS told_ml,
    CASE WHEN is_since_baseline THEN baseline_verdict ELSE before_verdict END AS told_verdict,
    taken_on >= %(recent_on)s::date AS is_recent,
    relative_percent > %(early_limit)s::float8 AND relative_percent > 0
      AND relative_percent > %(z_95)s::float8 * relative_error AS is_early
  FROM kept
), risen AS (
  SELECT *, told_verdict = 'beyond_error_up' AS is_worse, CASE
      WHEN told_verdict <> 'beyond_error_up' THEN NULL
      WHEN coalesce(value_ml, 0) = 0 THEN 0
      WHEN is_excess AND coalesce(percent, 0) <> 0 THEN told_ml / value_ml * percent
      ELSE 100 * told_ml / value_ml END AS rise_percent
  FROM told
), standings AS (
  SELECT episode_id, max(taken_on) FILTER (WHERE limb = 'arm') AS arm_on,
    max(taken_on) FILTER (WHERE limb = 'leg') AS leg_on,
    max(percent) AS excess, max(rise_percent) AS rise_percent,
    (array_agg(told_ml ORDER BY is_worse DESC, coalesce(percent, 0) DESC, limb))[1] AS change_ml,
    bool_or(is_worse) AS worse, bool_or(told_verdict = 'beyond_error_down') AS better,
    bool_or(told_verdict = 'within_error') AS steady,
    bool_or(verdict = 'beyond_error_up') AS excessive,
    bool_or(verdict <> '' AND verdict <> 'beyond_error_up') AS level, bool_or(is_early) AS is_early,
    bool_or(is_sudden_rise) AS is_sudden, bool_or(both_rose) AS both_rose,
    count(*) FILTER (WHERE is_sudden_rise AND is_recent) AS sudden_lately,
    count(*) FILTER (WHERE both_rose AND is_recent) AS both_lately
  FROM risen GROUP BY episode_id
)"""

# Notes, precautions and bookings.
CARE = """, notes AS (
  SELECT episode_id, count(*) AS visits, bool_or(signed_at IS NULL
      OR (needs_cosignature AND cosigned_at IS NULL)) AS is_unsigned,
    bool_or(signed_at IS NULL AND signs <> '[]') AS has_signs
  FROM visits_visitnote WHERE episode_id IN (SELECT id FROM opened) GROUP BY episode_id
), red_flags AS (
  SELECT note.episode_id, count(*) AS lately
  FROM visits_redflagseen AS seen JOIN visits_visitnote AS note ON note.id = seen.note_id
  WHERE note.visited_on >= %(recent_on)s::date GROUP BY note.episode_id
), precautions AS (
  SELECT client_id, count(*) FILTER (WHERE precaution = ANY(%(barring)s::text[])) AS barring,
    count(*) FILTER (WHERE precaution <> ALL(%(barring)s::text[])) AS other
  FROM clients_precautionfound WHERE cleared_on IS NULL GROUP BY client_id
), appointments AS MATERIALIZED (
  SELECT own.client_id, kind.purpose, own.status,
    (lower(own.period) AT TIME ZONE %(zone)s)::date AS starts_on,
    own.status = ANY(%(to_come)s::text[]) AND upper(own.period) > %(now)s::timestamptz AS is_ahead
  FROM scheduling_appointment AS own JOIN scheduling_appointmentkind AS kind
    ON kind.id = own.kind_id
  WHERE own.client_id IN (SELECT client_id FROM opened)
), booked AS (
  SELECT client_id, max(starts_on) FILTER (WHERE status = ANY(%(freed)s::text[])) AS freed_on,
    max(starts_on) FILTER (WHERE status = ANY(%(held)s::text[])) AS held_on,
    min(starts_on) FILTER (WHERE is_ahead) AS next_on,
    min(starts_on) FILTER (WHERE is_ahead AND purpose = %(fitting)s::text) AS fitting_on
  FROM appointments GROUP BY client_id
), treated AS (
  SELECT opened.id AS episode_id, count(*) AS times
  FROM opened JOIN appointments ON appointments.client_id = opened.client_id
    AND appointments.starts_on >= opened.opened_on
  WHERE status = %(done)s::text AND purpose = %(treatment)s::text GROUP BY opened.id
)"""

# What other modules find, by episode.
FOUND = """, letters (episode_id, last_to, draft_at) AS ({letters}),
garments (episode_id, due_on) AS ({garments}),
withdrawals AS (
  SELECT * FROM unnest(%(held_ids)s::uuid[], %(held_on)s::date[], %(held_urgent)s::bool[])
    AS each (episode_id, found_on, is_urgent)
), level_since AS (
  SELECT * FROM unnest(%(level_ids)s::uuid[], %(level_on)s::date[]) AS each (episode_id, since_on)
), plans AS (
  SELECT * FROM unnest(%(plan_ids)s::uuid[], %(plan_on)s::date[]) AS each (episode_id, due_on)
)"""

# By the rules of the due list and of the recall list; LEAST leaves out what is NULL.
WEIGHED = """, joined AS (
  SELECT opened.id, opened.phase, opened.phase_since_on, client.folded_name,
    client.record_number, person.display_name AS therapist, regions.first_name AS region_name,
    regions.stage_rank, standings.*, booked.next_on, precautions.barring, precautions.other,
    withdrawals.found_on AS withdraw_on, withdrawals.is_urgent AS withdraw_urgent,
    coalesce(notes.visits, 0) AS visits, coalesce(notes.is_unsigned, false) AS is_unsigned,
    coalesce(red_flags.lately, 0) + coalesce(notes.has_signs, false)::int AS red_flags,
    (taped.arm_on, taped.leg_on) IS DISTINCT FROM (standings.arm_on, standings.leg_on)
      AS is_behind,
    LEAST(
      CASE WHEN is_unstaged OR (has_arm AND taped.arm_on IS NULL)
        OR (has_leg AND taped.leg_on IS NULL) THEN opened.opened_on END,
      (LEAST(CASE WHEN has_arm THEN taped.arm_on END, CASE WHEN has_leg THEN taped.leg_on END)
        + CASE WHEN opened.phase = 'intensive' THEN make_interval(weeks => %(weeks)s::int)
          ELSE make_interval(months => coalesce(nullif(schedule.every_months, 0),
            rhythm.months)) END)::date,
      CASE WHEN client.agrees_to_letters AND letters.draft_at IS NULL THEN
        (coalesce(letters.last_to, opened.opened_on)
          + make_interval(months => wish.months))::date END,
      drafts.saved_on, (letters.draft_at AT TIME ZONE %(zone)s)::date, withdrawals.found_on,
      CASE WHEN (treated.times + %(report_notice)s::int) %% %(report_every)s::int
        <= %(report_notice)s::int THEN %(today)s::date END,
      CASE WHEN opened.phase = 'intensive' AND booked.next_on IS NULL THEN
        LEAST(coalesce(booked.held_on, opened.phase_since_on), %(today)s::date) END,
      CASE WHEN coalesce(booked.fitting_on < %(today)s::date, true) THEN LEAST(garments.due_on,
        CASE WHEN level_since.since_on IS NOT NULL THEN
          LEAST(level_since.since_on, %(today)s::date) END) END,
      CASE WHEN freed_on >= %(missed_on)s::date AND coalesce(held_on < freed_on, true)
        THEN LEAST(freed_on, %(today)s::date) END,
      plans.due_on
    ) AS first_on
  FROM opened
  JOIN clients_client AS client ON client.id = opened.client_id
  JOIN accounts_user AS person ON person.id = opened.therapist_id
  LEFT JOIN clients_referrer AS referrer
    ON referrer.id = coalesce(opened.referrer_id, client.referrer_id)
  LEFT JOIN unnest(%(wishes)s::text[], %(wish_months)s::int[]) AS wish (name, months)
    ON wish.name = referrer.letter_frequency AND referrer.is_active
  LEFT JOIN unnest(%(phases)s::text[], %(phase_months)s::int[]) AS rhythm (phase, months)
    ON rhythm.phase = opened.phase
  LEFT JOIN scheduling_recallschedule AS schedule ON schedule.episode_id = opened.id
  LEFT JOIN regions ON regions.episode_id = opened.id
  LEFT JOIN taped ON taped.episode_id = opened.id
  LEFT JOIN drafts ON drafts.episode_id = opened.id
  LEFT JOIN standings ON standings.episode_id = opened.id
  LEFT JOIN notes ON notes.episode_id = opened.id
  LEFT JOIN red_flags ON red_flags.episode_id = opened.id
  LEFT JOIN treated ON treated.episode_id = opened.id
  LEFT JOIN letters ON letters.episode_id = opened.id
  LEFT JOIN garments ON garments.episode_id = opened.id
  LEFT JOIN withdrawals ON withdrawals.episode_id = opened.id
  LEFT JOIN level_since ON level_since.episode_id = opened.id
  LEFT JOIN precautions ON precautions.client_id = opened.client_id
  LEFT JOIN booked ON booked.client_id = opened.client_id
  LEFT JOIN plans ON plans.episode_id = opened.id
), weighed AS (
  SELECT *, CASE WHEN first_on <= %(near_on)s::date THEN first_on END AS due_on,
    coalesce(barring, 0) + red_flags + coalesce(sudden_lately, 0) + coalesce(both_lately, 0)
      + coalesce(withdraw_urgent, false)::int AS urgent
  FROM joined
), placed AS (
  SELECT *, CASE WHEN urgent > 0 THEN {look} WHEN rise_percent IS NOT NULL THEN {worse}
    WHEN due_on IS NULL THEN {calm} WHEN due_on < %(today)s::date THEN {late}
    ELSE {soon} END AS concern
  FROM weighed
)"""

# One row: how many of each concern, how many sorted by old numbers, and the page's episodes.
PAGE = """, fitting AS MATERIALIZED (SELECT * FROM placed WHERE {filters}),
listed AS (
  SELECT id, row_number() OVER () AS place
  FROM (SELECT id FROM fitting ORDER BY {order} LIMIT %(length)s
    OFFSET (SELECT least(%(from)s, greatest(count(*) - 1, 0) / %(length)s * %(length)s)
      FROM fitting)) AS page
)
SELECT {counts}, count(*) FILTER (WHERE is_behind),
  (SELECT array_agg(id ORDER BY place) FROM listed)
FROM fitting
"""

JUDGED = {
    JudgedAs.WORSE: "worse",
    JudgedAs.BETTER: "better",
    JudgedAs.STEADY: "steady",
    JudgedAs.EXCESS: "excessive",
    JudgedAs.NO_EXCESS: "level",
    JudgedAs.NOT_TAPED: "episode_id IS NULL",
}
DUE = {
    DueBy.LATE: "due_on < %(today)s::date",
    DueBy.SOON: "due_on IS NOT NULL",
    DueBy.NOTHING: "due_on IS NULL",
}
FLAGGED = {
    FlagKind.BARRED: "barring > 0",
    FlagKind.RED_FLAG: "red_flags > 0",
    FlagKind.SUDDEN_RISE: "is_sudden",
    FlagKind.BOTH_ROSE: "both_rose",
    FlagKind.WITHDRAW: "withdraw_on IS NOT NULL",
    FlagKind.EARLY_CHANGE: "phase = 'surveillance' AND is_early",
    FlagKind.UNSIGNED: "is_unsigned",
    FlagKind.PRECAUTION: "other > 0",
}
# The urgent ones of them.
URGENT = {
    FlagKind.BARRED: "barring > 0",
    FlagKind.RED_FLAG: "red_flags > 0",
    FlagKind.SUDDEN_RISE: "sudden_lately > 0",
    FlagKind.BOTH_ROSE: "both_lately > 0",
    FlagKind.WITHDRAW: "withdraw_urgent",
}


def _ranked(*conditions: str) -> str:
    """The place of the first condition that holds, NULL where none does."""
    cases = (f"WHEN {each} THEN {place}" for place, each in enumerate(conditions))
    return f"CASE {' '.join(cases)} END"


LAST_DUE = "coalesce(due_on, date '9999-12-31')"
# Sorted upwards, the reader finds first what is looked for: the largest excess, the worst change.
ORDERED = {
    Order.CONCERN: ("concern", "-urgent", "-coalesce(rise_percent, 0)", LAST_DUE),
    Order.NAME: ('folded_name COLLATE "C"',),
    Order.REGION: ('region_name COLLATE "C"',),
    Order.PHASE: ("array_position(%(every_phase)s::text[], phase::text)", "phase_since_on"),
    Order.STAGE: ("-stage_rank",),
    Order.EXCESS: ("-excess",),
    Order.CHANGE: ("-change_ml",),
    Order.VISITS: ("-visits",),
    Order.NEXT: ("next_on",),
    Order.DUE: ("due_on",),
    Order.FLAGS: (_ranked(*URGENT.values(), *FLAGGED.values()),),
    Order.THERAPIST: ('therapist COLLATE "C"',),
}
BY_NAME = ('folded_name COLLATE "C"', 'record_number COLLATE "C"', "id")
COUNTS = ", ".join(f"count(*) FILTER (WHERE concern = {place})" for place, _ in enumerate(Concern))
RANKS = {each.value: str(place) for place, each in enumerate(Concern)}
