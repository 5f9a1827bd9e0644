"""Whether more than three readings agree: the global test, and how far each is checked."""

from __future__ import annotations

from typing import Any

from workbench.fin.pose.fit import Fit
from workbench.measure.stats.adjustment import Adjustment, adjust


def adjustment_of(fit: Fit) -> Adjustment | None:
    """Return the adjustment of a fit's readings at its pose; None with three, which nothing checks.

    Linear at the pose found (JCGM 102:2011; W. Baarda, 1968): beside a corner of the outline the
    leave-one-out of ``suspects_of`` is the surer one.
    """
    if len(fit.readings) < 4:
        return None
    rows = [seen.gradient for seen in fit.observations]
    off = [-r for r in fit.residuals_mm]
    return adjust(rows, [r.u_mm for r in fit.readings], off)


def agreement_report(fit: Fit, per: float) -> dict[str, Any] | None:
    """Return the global test and each reading's share of the redundancy, lengths over ``per``.

    Residuals are read minus adjusted, as those of suspects are.
    """
    found = adjustment_of(fit)
    if found is None:
        return None
    return {
        "chi_square": found.chi2,
        "degrees_of_freedom": found.dof,
        "p": found.p,
        "agree": found.agrees(),
        "readings": [
            {
                "method": reading.method.name,
                "residual": -residual / per,
                "redundancy": redundancy,
                "normalised_residual": None if w is None else -w,
                "detectable": None if least is None else least / per,
            }
            for reading, residual, redundancy, w, least in zip(
                fit.readings, found.residuals, found.redundancy, found.w, found.detectable(),
                strict=True,
            )
        ],
    }  # fmt: skip


def agreement_words(fit: Fit) -> str:
    """Return the global test as one sentence; nothing with three readings."""
    found = adjustment_of(fit)
    if found is None:
        return ""
    verdict = "agree" if found.agrees() else "do NOT agree"
    return (
        f"The readings {verdict} within their uncertainties "
        f"(chi-square {found.chi2:.2f}, {found.dof} more than needed, p {found.p:.3f})."
    )
