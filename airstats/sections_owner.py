"""What the owner's notebook shows, section by section: why jobs run over."""

from __future__ import annotations

from airstats import breakdown, charts_cuts, charts_owner, cutting, words_compared, words_cuts
from airstats import words_owner as said
from airstats.comparison import crew_comparison
from airstats.cut_terms import CutCosts
from airstats.desk import Desk
from airstats.hindsight import look_back
from airstats.screen import Section, show_table


def causes(desk: Desk) -> Section:
    """Show how priced becomes used, cause by cause."""
    yield charts_owner.cascade(breakdown.usual_split(desk.jobs, desk.now), desk.jobs)
    yield said.cannot_separate(desk)


def one_job(desk: Desk, job: str) -> Section:
    """Take one job apart; "" takes the one that ran over most."""
    yield said.job_words(desk, job)
    yield charts_owner.job_cascade(said.job_split(desk, job), desk.jobs)


def worst_jobs(desk: Desk) -> Section:
    """Name the jobs that ran over most."""
    yield said.worst_words(desk)
    caption = "The jobs that ran over most, and the largest sure cause of each"
    yield show_table(said.worst_table(desk), caption)


def quarters(desk: Desk) -> Section:
    """Set the quarters side by side."""
    yield words_compared.trend_words(desk)
    yield charts_owner.quarters(breakdown.by_quarter(desk.jobs, desk.now))


def crews(desk: Desk) -> Section:
    """Set the crews side by side."""
    yield words_compared.crew_words(desk)
    yield charts_owner.crews(crew_comparison(desk.jobs, desk.now))


def cuts(desk: Desk) -> Section:
    """Set the cuts side by side."""
    yield words_compared.cut_words(desk)
    yield show_table(
        words_compared.cut_table(desk),
        "What the reveals took, by cut",
        "cut jobs reveal_m2 factor factor_low factor_high learnt mean_rolls low_rolls high_rolls",
    )


def hindsight(desk: Desk, leftover_cost: float, short_cost: float) -> Section:
    """Show what the allowances known then would have changed."""
    found = look_back(desk.records, leftover_cost, short_cost)
    yield words_compared.hindsight_words(found)
    yield charts_owner.hindsight(found)
    yield show_table(found.table, "Real prices beside those of the allowances known then")


def which_cut(desk: Desk, costs: CutCosts) -> Section:
    """Show which cut would have cost least, and for which openings."""
    terms = cutting.cut_terms(desk.records, desk.now, costs)
    savings = cutting.past_savings(desk.records, terms)
    yield words_cuts.cut_words(terms, savings, cutting.saving_range(desk.records, terms))
    by_size = cutting.cut_map(desk.records, terms)
    yield words_cuts.map_words(by_size, desk.records.openings)
    yield charts_cuts.cut_map(by_size, desk.records.openings)
    turns = cutting.past_turns(desk.records, terms)
    yield words_cuts.turn_words(turns)
    yield show_table(
        words_cuts.turn_table(turns),
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
