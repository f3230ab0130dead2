"""What the owner's notebook shows, section by section: why jobs run over."""

from __future__ import annotations

from airstats.analysis import overrun_views
from airstats.analysis.allowance_changes import crew_comparison
from airstats.backtests.against_real_prices import look_back
from airstats.pricing import firm_cuts
from airstats.pricing.cut_prices import CutCosts
from airstats.reports import compared_text, cuts_charts, cuts_text, owner_charts
from airstats.reports import owner_text as said
from airstats.reports.desk import Desk
from airstats.reports.display import Section, show_table


def causes(desk: Desk) -> Section:
    """Show how priced becomes used, cause by cause."""
    yield owner_charts.cascade(overrun_views.usual_split(desk.jobs, desk.now), desk.jobs)
    yield said.cannot_separate(desk)


def one_job(desk: Desk, job: str) -> Section:
    """Take one job apart; "" takes the one that ran over most."""
    yield said.job_words(desk, job)
    yield owner_charts.job_cascade(said.job_split(desk, job), desk.jobs)


def worst_jobs(desk: Desk) -> Section:
    """Name the jobs that ran over most."""
    yield said.worst_words(desk)
    caption = "The jobs that ran over most, and the largest sure cause of each"
    yield show_table(said.worst_table(desk), caption)


def quarters(desk: Desk) -> Section:
    """Set the quarters side by side."""
    yield compared_text.trend_words(desk)
    yield owner_charts.quarters(overrun_views.by_quarter(desk.jobs, desk.now))


def crews(desk: Desk) -> Section:
    """Set the crews side by side."""
    yield compared_text.crew_words(desk)
    yield owner_charts.crews(crew_comparison(desk.jobs, desk.now))


def cuts(desk: Desk) -> Section:
    """Set the cuts side by side."""
    yield compared_text.cut_words(desk)
    yield show_table(
        compared_text.cut_table(desk),
        "What the reveals took, by cut",
        "cut jobs reveal_m2 factor factor_low factor_high learnt mean_rolls low_rolls high_rolls",
    )


def hindsight(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show what the allowances known then would have changed."""
    found = look_back(desk.records, leftover_cost, short_cost)
    yield compared_text.hindsight_words(found)
    yield owner_charts.hindsight(found)
    yield show_table(found.table, "Real prices beside those of the allowances known then")


def which_cut(desk: Desk, costs: CutCosts) -> Section:
    """Show which cut would have cost least, and for which openings."""
    terms = firm_cuts.cut_terms(desk.records, desk.now, costs)
    savings = firm_cuts.past_savings(desk.records, terms)
    yield cuts_text.cut_words(terms, savings, firm_cuts.saving_range(desk.records, terms))
    by_size = firm_cuts.cut_map(desk.records, terms)
    yield cuts_text.map_words(by_size, desk.records.openings)
    yield cuts_charts.cut_map(by_size, desk.records.openings)
    turns = firm_cuts.past_turns(desk.records, terms)
    yield cuts_text.turn_words(turns)
    yield show_table(
        cuts_text.turn_table(turns),
        "One cut for all openings: the price or time at which another would do as well",
    )
    yield show_table(
        savings.head(10),
        "The past jobs where other cuts would have saved most",
        "job_id openings cut_otherwise saving",
    )


def left_out(desk: Desk) -> Section:
    """Name the jobs that were left out, with the reason."""
    yield show_table(
        desk.excluded,
        "Jobs left out, with the reason",
        "job_id quarter crew estimated_rolls used_rolls exclude",
    )
