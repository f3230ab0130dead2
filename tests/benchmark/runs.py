"""What measurements on invented firms share: what an oracle orders, many seeds at once, a table."""

import argparse
import json
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import norm

from airstats.base.atomic_files import readable_json, rounded, write_whole
from airstats.model.normal_mixture import Mixture
from airstats.pricing.newsvendor import critical_share, expected_cost
from airstats.reports import invented_firms

LEFTOVER, SHORT = 60.0, 240.0
WANTED = critical_share(LEFTOVER, SHORT)


def oracle_cost(order, mean, sd, size):
    """Return the mean cost of orders in packs of `size`, expected over the luck of each job."""
    use = Mixture(np.ones(1), mean[None, :], sd[None, :])
    packs = np.broadcast_to(size, order.shape)
    return float(expected_cost(use, packs, order.astype(int), LEFTOVER, SHORT).mean())


def oracle_order(mean, sd, size, share=WANTED):
    """Return the packs of one who knows every parameter but no luck."""
    return np.ceil(norm.ppf(share, mean, sd) / size)


def each_seed(run, seeds, first=0, workers=2):
    """Return what `run(seed)` finds, by name: one row a seed."""
    with ProcessPoolExecutor(workers) as pool:
        return pd.DataFrame(pool.map(run, range(first, first + seeds), chunksize=5))


def averaged(run, seeds, first=0, workers=2):
    """Return the mean over the seeds of what `run(seed)` finds, by name."""
    return each_seed(run, seeds, first, workers).mean()


def beside_oracle(mean, *costs):
    """Return each cost as a multiple of the oracle's, then the rest."""
    times = (mean[list(costs)] / mean["oracle"]).rename("x {}".format)
    return pd.concat([times, mean.drop([*costs, "oracle"])])


def asked(about, seeds):
    """Read the command line: how many seeds, from which on, and which worlds."""
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--seeds", type=int, default=seeds)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--world", default="", help="only worlds whose name holds this text")
    parser.add_argument("--workers", type=int, default=2, help="processes at a time")
    parser.add_argument("--write", action="store_true", help="keep the results for the reports")
    return parser.parse_args()


def keep(benchmark, row, asked, found):
    """Put a row of results into the file that the reports quote, beside the model's fingerprint."""
    path = Path(invented_firms.__file__).with_name(invented_firms.NAME)
    whole = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    here = {"firms": asked.seeds, "first": asked.first, "model": invented_firms.fingerprint()}
    whole.setdefault(benchmark, {})[row] = here | found
    write_whole(path, readable_json(rounded(whole)))


def show(rows):
    """Print one row a name."""
    with pd.option_context("display.width", 250, "display.max_columns", 30):
        print(pd.DataFrame(rows).T.round(4))


def best_of(times, run, *given):
    """Return the shortest of some runs, seconds."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        run(*given)
        taken.append(time.perf_counter() - start)
    return min(taken)
