"""Puts the invented clinic into an empty database, once."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from itertools import chain
from typing import Any

from django.db import connection, models, transaction

from clinic.accounts.models import Practice, User
from clinic.accounts.services import save_practice
from clinic.clients.models import Client, Referrer
from clinic.clients.services import add_referrer
from clinic.common.vocabulary import Limb, Role, Word
from clinic.demo import scenario
from clinic.demo.accounts import Account, accounts_of, hand_out, hire
from clinic.demo.bodies import acts_of_body, client_of, episode_of
from clinic.demo.compression import acts_of_compression, acts_of_size_chart
from clinic.demo.desk import furnish_desk
from clinic.demo.doubles import merge_a_double
from clinic.demo.findings import acts_of_findings
from clinic.demo.letter_runs import run_last_month
from clinic.demo.letters import acts_of_letters
from clinic.demo.notes import chart_visits
from clinic.demo.plans import acts_of_plan, acts_of_scores
from clinic.demo.programmes import acts_of_programmes
from clinic.demo.requests import ask_about_records
from clinic.demo.scenario import Story, demo_id
from clinic.demo.sending import post_letters
from clinic.demo.stage import Act, Cast, Stage, Staged, WorkingStage
from clinic.demo.tapings import Tape, acts_of_tapings
from measurements.limb.levels import EndHandling
from measurements.models import Protocol
from measurements.protocol_plan import ProtocolPlan
from measurements.services.protocols import add_protocol, supersede_protocol
from measurements.services.standings import rebuild_standings

# Days before today on which everybody was hired: before the first story begins.
OPENED = -730

# Key of the lock under which only one process loads the demo.
DEMO_LOCK = 20_260_304

# How many acts pass between two words of progress.
PROGRESS_EVERY = 250

Say = Callable[[str], None]


class Holding(Word):
    """What a database holds, before anything is done to it."""

    NOTHING = "nothing", "nothing yet"
    DEMO = "demo", "the demo"
    OTHER = "other", "records that are not the demo's"


def holding() -> Holding:
    """What the database holds. Reads keys only, so an older or newer schema does no harm."""
    tables = set(connection.introspection.table_names())
    if tables and "django_migrations" not in tables:
        return Holding.OTHER
    if _is_there(tables, Client, pk__in=_demo_clients()):
        return Holding.DEMO
    kinds = (User, Client, Referrer)
    return Holding.OTHER if any(_is_there(tables, kind) for kind in kinds) else Holding.NOTHING


def _is_there(tables: set[str], model: type[models.Model], **which: Any) -> bool:
    return model._meta.db_table in tables and model._default_manager.filter(**which).exists()


def _demo_clients() -> list[Any]:
    return [story.client_id for story in scenario.stories()]


@transaction.atomic
def load(today: date, *, say: Say) -> list[Account]:
    """Load the demo, all or nothing; what was loaded before is left alone.

    Returns the accounts, with one-time passwords where they are new. `say` is told what goes on.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [DEMO_LOCK])
    told = scenario.clinic()
    if holding() is Holding.DEMO:
        return accounts_of(told, {})
    with ThreadPoolExecutor(max_workers=1) as beside:
        passwords = hire(told, beside)
        stage = _set_up(told, today)
        _play(told, stage, say)
        furnish_desk(stage, OPENED)
        chart_visits(stage)
        post_letters(stage)
        run_last_month(stage)
        ask_about_records(stage)
        merge_a_double(stage)
        hand_out(passwords)
    return accounts_of(told, passwords)


def _play(told: dict[str, Any], stage: Stage, say: Say) -> None:
    """Everything that happened, act by act, each on its day."""
    tape = Tape()
    acts = sorted(_acts(told, stage, tape), key=lambda staged: staged.order)
    for number, staged in enumerate(acts, start=1):
        staged.play()
        if number % PROGRESS_EVERY == 0 or number == len(acts):
            say(f"  {100 * number // len(acts):3} %  up to {staged.order[0]:%d %b %Y}")
    tape.flush()
    rebuild_standings()


def _acts(told: dict[str, Any], stage: Stage, tape: Tape) -> Iterator[Staged]:
    """Everything that happened in the clinic, in no order."""
    charted = scenario.charting()
    acts = [acts_of_size_chart(charted["size_chart"], stage)]
    acts += [_protocol_acts(protocol, stage, tape) for protocol in told["protocols"]]
    yield from (Staged(act, stage) for act in chain(*acts))
    for story in scenario.stories():
        own = WorkingStage(stage.today, stage.cast) if story.in_working_days else stage
        acts_of_story = _acts_of(story, charted["stories"].get(story.name, {}), own, tape)
        yield from (Staged(act, own) for act in acts_of_story)


def _acts_of(story: Story, charted: dict[str, Any], stage: Stage, tape: Tape) -> Iterator[Act]:
    episode = episode_of(story, client_of(story, stage), stage)
    yield from acts_of_body(story, episode, stage)
    yield from acts_of_tapings(story, episode, stage, tape)
    yield from acts_of_findings(story, episode, stage)
    yield from acts_of_letters(story, episode, stage, tape)
    yield from acts_of_scores(charted.get("scores", ()), episode, stage)
    yield from acts_of_compression(charted, episode, stage)
    yield from acts_of_programmes(charted.get("programmes", ()), episode)
    for plan in charted.get("plans", ()):
        yield from acts_of_plan(plan, episode, stage, tape)


def _set_up(told: dict[str, Any], today: date) -> Stage:
    """The practice, its referrers and its own protocols."""
    staff = {user.sign_in_name: user for user in User.objects.all()}
    front_desk = next(user for user in staff.values() if user.role == Role.FRONT_DESK)
    lead = next(user for user in staff.values() if user.role == Role.CLINIC_LEAD)
    save_practice(practice=Practice(**told["practice"]))
    stage = Stage(today, Cast(staff, _referrers(told), front_desk, lead))
    with stage.on(OPENED):
        for referrer in stage.cast.referrers.values():
            add_referrer(referrer=referrer, by=front_desk)
    return stage


def _referrers(told: dict[str, Any]) -> dict[str, Referrer]:
    return {
        name: Referrer(id=demo_id("referrer", name), **values)
        for name, values in told["referrers"].items()
    }


def _protocol_acts(told: dict[str, Any], stage: Stage, tape: Tape) -> Iterator[Act]:
    by, name = stage.cast.lead, told["name"]
    first, then = _plan(told, told["levels_cm"]), _plan(told, told["levels_then_cm"])

    def supersede() -> None:
        supersede_protocol(protocol=Protocol.objects.get(name=name), plan=then, by=by)
        tape.forget_protocols()

    yield Act(told["added"], 0, lambda: add_protocol(plan=first, by=by))
    yield Act(told["superseded"], 0, supersede)


def _plan(told: dict[str, Any], levels_cm: list[int]) -> ProtocolPlan:
    mark = told["start_landmark"]
    return ProtocolPlan(
        name=told["name"],
        limb=Limb(told["limb"]),
        start_landmark=mark,
        end_handling=EndHandling.EXCLUDED,
        stations=tuple(
            (level, f"{level} cm above {mark}" if level else f"at {mark}") for level in levels_cm
        ),
    )
