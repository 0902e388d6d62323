"""The rhythm of a strand: which pauses belong inside a set, learned from the card itself.

A photographer waits two seconds between the frames of a handheld sweep and twenty-five between
those of a long-exposure one; both happen on one card. So no fixed number of seconds is used.
A Gaussian mixture on the logarithms of the pauses finds the habits of the day, and what the
pictures say of the same pairs tells which habit is a sweep's.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from grouper.group.pairs import Floats, Pairs

SHORTEST_S = 0.05
"""Pauses below this are one thing: the drive running freely (20 frames a second)."""
COARSE_S = 0.5
"""With whole-second stamps the difference of two equal ones is anything below a second."""
FEWEST_FOR_MIXTURE = 12
"""With fewer pauses a mixture of two or three would fit noise; the prior alone speaks."""
MOST_HABITS = 4
"""Drive, sweep, wait, walk: more components only split these (common practice, no source)."""
PRIOR_MIDDLE_S = 20.0
"""Half of the pauses of this length lie inside sets: common practice puts tripod sweeps at
4-15 s and new scenes at a minute and more (no source)."""
PRIOR_SLOPE = 1.1
"""How fast that belief falls with the logarithm of the pause: 0.9 at 3 s, 0.1 at 150 s."""
PRIOR_PAIRS = 6.0
"""The prior is worth this many pairs of pictures in each component."""
MOST_LOG_ODDS = 3.0
"""A pause alone never says more than about 20 to 1: people are interrupted, and hurry."""


WINDOW = 4
"""Pairs over which whole-second stamps are averaged: five frames within two seconds are a drive
running freely, two frames in one second may be a hasty hand."""


def drive_pauses(pairs: Pairs) -> Floats:
    """Pauses fine enough to tell a running drive, in seconds; infinite where nothing can tell.

    Whole-second stamps are averaged over the pairs around.
    """
    pause = np.nan_to_num(pairs.pause_s, nan=np.inf)
    coarse = pairs.pause_slack_s >= 1.0
    if len(pause) < WINDOW:
        return np.where(coarse, np.inf, pause)
    windows = np.lib.stride_tricks.sliding_window_view(pause, WINDOW).mean(axis=1)
    best = np.full(len(pause), np.inf)
    for offset in range(WINDOW):
        span = slice(offset, offset + len(windows))
        best[span] = np.minimum(best[span], windows)
    # A burst's last second must not reach out to the frame after it.
    within = pause < 1.5
    return np.where(coarse, np.where(within, best, np.inf), pause)


LONGER = 0.5
"""A pause this much longer in the logarithm (two thirds more) than both its neighbours."""


def stands_out(log_pause: Floats) -> NDArray[np.bool_]:
    """Which pauses are plainly longer than the one before and the one after."""
    padded = np.concatenate([[np.nan], log_pause, [np.nan]])
    around = np.fmax(padded[:-2], padded[2:])
    with np.errstate(invalid="ignore"):
        longer: NDArray[np.bool_] = log_pause > around + LONGER
    return longer


def log_pauses(pairs: Pairs) -> Floats:
    """Natural logarithms of the pauses, floored by what the stamps can tell; NaN unknown."""
    floor = np.where(pairs.pause_slack_s >= 1.0, COARSE_S, SHORTEST_S)
    with np.errstate(invalid="ignore"):
        return np.log(np.maximum(pairs.pause_s, floor))


def pause_log_odds(log_pause: Floats, together: Floats) -> Floats:
    """Log-odds, from the pause alone, that two neighbours belong to one set.

    Args:
        log_pause: natural logarithms of the pauses in seconds, NaN unknown, shape (n,).
        together: chance that each pair belongs together by other evidence, NaN where there is
            none, shape (n,).

    Returns:
        Log-odds of shape (n,), 0 where the pause is unknown.
    """
    odds = np.zeros(len(log_pause))
    known = np.isfinite(log_pause)
    values = log_pause[known]
    prior = _prior(values)
    if len(values) < FEWEST_FOR_MIXTURE or len(np.unique(values)) < 3:
        share = prior
    else:
        share = _learned(values, together[known], prior)
    share = np.clip(share, 1e-3, 1 - 1e-3)
    odds[known] = np.clip(np.log(share / (1 - share)), -MOST_LOG_ODDS, MOST_LOG_ODDS)
    return odds


def usual_log_odds(log_pause: Floats) -> Floats:
    """Log-odds of belonging together by common practice alone, 0 where the pause is unknown."""
    share = np.clip(_prior(np.nan_to_num(log_pause, nan=math.log(PRIOR_MIDDLE_S))), 1e-3, 1 - 1e-3)
    odds: Floats = np.clip(np.log(share / (1 - share)), -MOST_LOG_ODDS, MOST_LOG_ODDS)
    return odds


def _prior(log_pause: Floats) -> Floats:
    belief: Floats = 1 / (1 + np.exp(PRIOR_SLOPE * (log_pause - math.log(PRIOR_MIDDLE_S))))
    return belief


def _learned(values: Floats, together: Floats, prior: Floats) -> Floats:
    """Chance of belonging together per pause, from the mixture's components."""
    # Imported here so that --help and --version need not wait for it.
    from sklearn.mixture import GaussianMixture

    column = values.reshape(-1, 1)
    fits = [
        GaussianMixture(count, reg_covar=0.05, random_state=0).fit(column)
        for count in range(1, min(MOST_HABITS, len(np.unique(values)) - 1) + 1)
    ]
    best = min(fits, key=lambda fit: float(fit.bic(column)))
    duty = best.predict_proba(column)
    told = np.isfinite(together)
    weight = duty * told[:, None]
    seen = (weight * np.where(told, together, 0.0)[:, None]).sum(axis=0)
    believed = (duty * prior[:, None]).sum(axis=0) / np.maximum(duty.sum(axis=0), 1e-9)
    share = (seen + PRIOR_PAIRS * believed) / (weight.sum(axis=0) + PRIOR_PAIRS)
    learned: Floats = duty @ share
    return learned
