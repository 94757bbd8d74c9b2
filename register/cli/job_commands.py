"""`pitwright job`: queueing jobs and taking them from state to state."""

from typing import Annotated

import typer

from register.actions import jobs
from register.cli.here import Nouns, here
from register.cli.saying import say_note
from register.reports import jobs as reports
from register.reports.stock import spool_words

verbs = Nouns("Jobs: a quantity of one revision to be made.")

Number = Annotated[str, typer.Argument(help="Job number, such as A-17.")]


@verbs.verb("add")
def add(
    context: typer.Context,
    part: Annotated[str, typer.Argument(help="Part number.")],
    quantity: Annotated[int, typer.Argument(help="Pieces.")] = 1,
    revision: Annotated[str | None, typer.Option(help="Revision letter; the released one if left out.")] = None,
    due: Annotated[str | None, typer.Option(help="When: 2031-03-20 18:00; the next event's date if left out.")] = None,
    weight: Annotated[float, typer.Option(help="How much a late hour counts.")] = 1.0,
    machine: Annotated[str | None, typer.Option(help="Only on this machine.")] = None,
    note: Annotated[str, typer.Option(help="Anything to know of it.")] = "",
) -> None:
    """Queue a job."""
    place = here(context)
    moment = place.moment(due) if due else None
    job = jobs.add_job(place.register, part, revision, quantity, moment, weight, machine, note)
    spools = jobs.show_job(place.register, job.number).spools
    if spools is not None:
        say_note("\n".join(spool_words(spools)))
    place.show(job, lambda: reports.job_list((job,), place.shop.zone))


@verbs.verb("list")
def list_(
    context: typer.Context,
    closed: Annotated[bool, typer.Option("--closed", help="With those accepted and cancelled.")] = False,
) -> None:
    """List jobs."""
    place = here(context)
    found = jobs.list_jobs(place.register, closed)
    place.show(found, lambda: reports.job_list(found, place.shop.zone))


@verbs.verb("show")
def show(context: typer.Context, number: Number) -> None:
    """Show a job sheet: what to make, how long it takes, and the cautions."""
    place = here(context)
    sheet = jobs.show_job(place.register, number)
    place.show(sheet, lambda: reports.job_sheet(sheet, place.shop))


@verbs.verb("start")
def start(
    context: typer.Context,
    number: Number,
    machine: Annotated[str | None, typer.Option(help="Which machine; a free one if left out.")] = None,
) -> None:
    """The job is on its machine now; a bought part is ordered now."""
    place = here(context)
    job = jobs.start_job(place.register, number, machine)
    sheet = jobs.show_job(place.register, job.number)
    place.show(job, lambda: reports.job_sheet(sheet, place.shop))


@verbs.verb("made")
def made(
    context: typer.Context,
    number: Number,
    lot: Annotated[str | None, typer.Option(help="Stock that it used; the smallest that suffices if left out.")] = None,
) -> None:
    """The job has left its machine; what it used of stock is booked."""
    place = here(context)
    job, booked = jobs.made_job(place.register, number, lot)
    say_note(reports.booked_words(booked, job))
    place.show(job, lambda: reports.job_list((job,), place.shop.zone))


@verbs.verb("finish")
def finish(context: typer.Context, number: Number) -> None:
    """The hand steps are done."""
    place = here(context)
    job = jobs.finish_job(place.register, number)
    place.show(job, lambda: reports.job_list((job,), place.shop.zone))


@verbs.verb("accept")
def accept(
    context: typer.Context,
    number: Number,
    place_name: Annotated[str, typer.Option("--place", help="Where the pieces go.")] = jobs.SHELF,
) -> None:
    """The pieces passed their check and are on hand."""
    place = here(context)
    job, left = jobs.accept_job(place.register, number, place_name)
    say_note(f"{left} of {job.part} revision {job.revision} at {place_name} now.")
    place.show(job, lambda: reports.job_list((job,), place.shop.zone))


@verbs.verb("scrap")
def scrap(
    context: typer.Context,
    number: Number,
    quantity: Annotated[int, typer.Argument(help="Pieces lost.")],
    because: Annotated[str, typer.Option(help="Why.")],
) -> None:
    """Some pieces of a job under way are lost."""
    place = here(context)
    job = jobs.scrap_pieces(place.register, number, quantity, because)
    place.show(job, lambda: reports.job_list((job,), place.shop.zone))


@verbs.verb("hold")
def hold(
    context: typer.Context, number: Number, because: Annotated[str, typer.Option(help="What it waits for.")]
) -> None:
    """Put a job on hold."""
    place = here(context)
    job = jobs.hold_job(place.register, number, because)
    place.show(job, lambda: reports.job_list((job,), place.shop.zone))


@verbs.verb("requeue")
def requeue(context: typer.Context, number: Number) -> None:
    """Put a job that was on hold, or has failed on its machine, back into the queue."""
    place = here(context)
    job = jobs.requeue_job(place.register, number)
    place.show(job, lambda: reports.job_list((job,), place.shop.zone))


@verbs.verb("cancel")
def cancel(context: typer.Context, number: Number) -> None:
    """Cancel a job."""
    place = here(context)
    job = jobs.cancel_job(place.register, number)
    place.show(job, lambda: reports.job_list((job,), place.shop.zone))
