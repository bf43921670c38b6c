"""A mixed-effects estimate of one effect over titles, by statsmodels.

Titles are a sample of titles: each has a level of its own, an effect of its own
and, where there are several modes, a level in each mode. The residual is taken
as one spread for all presses, although a slower mode spreads its presses more;
the stratified estimate beside it does not need that.

References
----------
J. C. Pinheiro and D. M. Bates, "Mixed-Effects Models in S and S-PLUS" (2000),
2.4: restricted maximum likelihood, and why a normal interval is too narrow for
few groups. The degrees of freedom here are those of the titles.
"""

import math
import warnings
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from blinkspan.errors import BadSample, BadSetting
from blinkspan.quantities import Estimate
from blinkspan.study.phrases import counted

Floats = npt.NDArray[np.float64]
Labels = npt.NDArray[np.str_]

_METHOD = "mixed model, restricted maximum likelihood, t of the titles' freedom"


@dataclass(frozen=True, slots=True)
class MixedEffect:
    """The effect with what the model says of the titles.

    Attributes
    ----------
    effect : Estimate
        First side less second, in the unit of the values.
    title_sd : float
        Standard deviation of the effect from title to title.
    notes : tuple[str, ...]
        What a reader must know of the fit.
    """

    effect: Estimate
    title_sd: float
    notes: tuple[str, ...]


def mixed_effect(
    values: Floats, first: npt.NDArray[np.bool_], modes: Labels, titles: Labels, *, level: float
) -> MixedEffect:
    """Return how far the first side's values lie above the second's over titles like these.

    Parameters
    ----------
    values : ndarray, shape (n,)
    first : ndarray of bool, shape (n,)
        Which side a value is of.
    modes, titles : ndarray of str, shape (n,)

    Raises
    ------
    BadSample
        Fewer than three titles, or a fit that does not settle.
    BadSetting
        statsmodels is not installed.
    """
    try:
        from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec
    except ImportError as missing:
        raise BadSetting(
            'the mixed model needs statsmodels; run: pip install "blinkspan[matrix]"'
        ) from missing
    names = np.unique(titles)
    if names.size < 3:
        raise BadSample(
            f"a mixed model over {counted(names.size, 'title')} says nothing; film three or more"
        )
    side = np.where(first, 0.5, -0.5)
    kinds = np.unique(modes)
    fixed = np.column_stack([np.ones(values.size), side, *(modes == kind for kind in kinds[1:])])
    of_title = [np.flatnonzero(titles == name) for name in names]
    random = {"effect": [side[rows, None] for rows in of_title]}
    if kinds.size > 1:
        in_mode = (modes[:, None] == kinds).astype(np.float64)
        random["mode"] = [in_mode[rows] for rows in of_title]
        random["effect in mode"] = [in_mode[rows] * side[rows, None] for rows in of_title]
    spec = VCSpec(
        list(random),
        [[[str(c) for c in range(m.shape[1])] for m in mats] for mats in random.values()],
        list(random.values()),
    )
    order = np.concatenate(of_title)  # the model keeps the groups' own order within a title
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # boundary and convergence are told in our own words
        level_of_title = np.ones((values.size, 1))
        model = MixedLM(values[order], fixed[order], titles[order], level_of_title, spec)
        # lbfgs alone may stop short of the optimum and call it converged
        fit = model.fit(reml=True, method=["powell", "lbfgs"])
    se = float(fit.bse_fe[1])
    if not (fit.converged and math.isfinite(se) and se > 0.0):
        raise BadSample("the mixed model does not settle on these presses; use the stratified one")
    variance = float(fit.vcomp[0])
    value = float(fit.fe_params[1])
    reach = float(stdtrit(names.size - 1, 0.5 + level / 2.0)) * se
    notes: tuple[str, ...] = ()
    if variance < 1e-4 * float(fit.scale):
        notes = ("titles differ in this effect no more than their presses explain",)
    return MixedEffect(
        effect=Estimate(value, value - reach, value + reach, level, _METHOD),
        title_sd=math.sqrt(max(variance, 0.0)),
        notes=notes,
    )
