"""What the estimator's notebook of the next jobs shows, section by section."""

from __future__ import annotations

import pandas as pd

from airstats.pricing import firm_cuts, pooled_order
from airstats.pricing.cut_prices import CutCosts
from airstats.pricing.newsvendor import Priced
from airstats.pricing.order_costs import roll_chances
from airstats.reports import cuts_charts, cuts_text, price_charts
from airstats.reports import price_text as said
from airstats.reports.desk import Desk
from airstats.reports.display import Section, show_table


def chances(foretold: Priced, priced: pd.DataFrame) -> Section:
    """Show how many rolls each job may need; `priced` is from `order_costs.order_costs`."""
    yield price_charts.roll_chances(roll_chances(foretold), priced)


def one_roll(foretold: Priced, priced: pd.DataFrame) -> Section:
    """Show what one roll more or fewer would cost."""
    yield said.one_roll_words(priced)
    yield show_table(
        priced,
        f"One roll more or fewer: a roll left over costs {foretold.leftover_cost:g}, one short"
        f" {foretold.short_cost:g}",
        "job_id order_rolls chance_short expected_left_over_rolls cost_fewer cost_order cost_more",
    )


def pooled(foretold: Priced) -> Section:
    """Show one order for all jobs beside one for each."""
    found = pooled_order.pooled_orders(foretold)
    yield said.pooled_words(found)
    yield price_charts.pooled_chances(pooled_order.pooled_chances(foretold), found)
    yield show_table(
        found,
        "The jobs ordered together and one by one, for each size of roll",
        "roll_size jobs from_rolls to_rolls single_rolls pooled_rolls saved_rolls "
        "single_cost pooled_cost saved_cost",
    )


def cut_plan(desk: Desk, costs: CutCosts) -> Section:
    """Show which cut to choose for each opening."""
    terms = firm_cuts.cut_terms(desk.records, desk.now, costs)
    to_cut = desk.to_price or desk.quarter_records()
    plan = firm_cuts.opening_plan(to_cut, terms)
    yield cuts_text.plan_words(plan, terms, firm_cuts.saving_range(to_cut, terms))
    yield show_table(
        plan,
        "Openings with the cut to choose; the saving is for all of a row",
        "job_id mark count width_mm height_mm reveal_mm sides cut_pattern cut_way saving_all",
    )
    if len(plan):
        yield cuts_charts.cut_sheet(plan)
        yield cuts_charts.opening(plan.iloc[plan["saving_all"].argmax()])
