"""Two setups, or many: different, the same within a margin, or not decided.

References
----------
D. J. Schuirmann, J. Pharmacokinetics and Biopharmaceutics 15 (1987) 657-680: sameness
by two one-sided tests.
S. Holm, Scandinavian Journal of Statistics 6 (1979) 65-70: several comparisons at once.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from typing import Any

import numpy as np

from blinkspan.errors import BadSample, BadSetting
from blinkspan.quantities import Estimate
from blinkspan.study.equivalence import same_shift
from blinkspan.study.families import holm
from blinkspan.study.phrases import counted, listed, plain_estimate, told, turned
from blinkspan.study.planning import FEWEST_FOR_A_PLAN, Plan, presses_that_tell
from blinkspan.study.populations import from_pilot
from blinkspan.study.ranks import RankTest, probability_less, rank_sum_test
from blinkspan.study.sample import DoubtOfDifference, Sample, doubt_of_difference
from blinkspan.study.shift import Shift, shift_between

_NOTABLE_DOUBT = 0.25  # of the margin: half of it is then the least interval to either side


class Answer(StrEnum):
    """What the presses say of two setups."""

    DIFFERENT = "different by at least the margin"
    DIFFERENT_UNDER = "different but under the margin"
    SAME = "the same within the margin"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Margin:
    """The difference that matters, and what it is."""

    ms: float
    name: str = ""

    def __post_init__(self) -> None:
        if not 0.0 < self.ms < math.inf:
            raise BadSetting(f"a margin of {self.ms:g} ms cannot be; give one above zero")

    def __str__(self) -> str:
        return f"{self.name} ({self.ms:.1f} ms)" if self.name else f"{self.ms:.1f} ms"


def one_frame(rate_hz: float, of: str) -> Margin:
    """Return one frame as a margin: of the camera, of the game.

    Examples
    --------
    >>> str(one_frame(240.0, "camera"))
    'one camera frame (4.2 ms)'
    """
    if not 0.0 < rate_hz < math.inf:
        raise BadSetting(f"a {of} rate of {rate_hz:g} Hz cannot be; give one above zero")
    return Margin(1000.0 / rate_hz, f"one {of} frame")


@dataclass(frozen=True, slots=True)
class Comparison:
    """What the presses of two setups say of the difference between them.

    Attributes
    ----------
    shift_ms : Estimate
        Hodges-Lehmann shift, first less second, with the doubt that is left of what
        the presses of each share.
    inner_ms : Estimate
        The same with the interval that belongs to two one-sided tests.
    first_beats : Estimate
        Probability that a press of the first is answered sooner than one of the second.
    p_difference, p_margin, p_same : float
        Of no difference; of a difference smaller than the margin; of one at or above
        it. Holm's adjustment over ``family`` comparisons is in them.
    permutation : RankTest
        Of presses dealt at random to the two setups. It knows of no shared doubt and
        does not enter the answer.
    doubt : DoubtOfDifference
        What the shared doubts leave, and which of them cancel.
    differs : bool
        Whether a difference of any size is shown.
    plan : Plan | None
        Where undecided: how many presses of each would decide.
    """

    first: str
    second: str
    n_first: int
    n_second: int
    margin: Margin
    answer: Answer
    differs: bool
    shift_ms: Estimate
    inner_ms: Estimate
    first_beats: Estimate
    p_difference: float
    p_margin: float
    p_same: float
    family: int
    permutation: RankTest
    doubt: DoubtOfDifference
    plan: Plan | None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {
            "first": self.first,
            "second": self.second,
            "n_first": self.n_first,
            "n_second": self.n_second,
            "margin_ms": self.margin.ms,
            "margin": self.margin.name,
            "answer": str(self.answer),
            "differs": self.differs,
            "shift_ms": plain_estimate(self.shift_ms),
            "inner_ms": plain_estimate(self.inner_ms),
            "first_beats": plain_estimate(self.first_beats),
            "p_difference": self.p_difference,
            "p_margin": self.p_margin,
            "p_same": self.p_same,
            "family": self.family,
            "p_permutation": self.permutation.p,
            "permutation_method": self.permutation.method,
            "systematic_u_ms": self.doubt.left_u_ms,
            "cancelled": list(self.doubt.cancelled),
            "plan": None if self.plan is None else self.plan.to_dict(),
            "sentence": str(self),
        }

    def __str__(self) -> str:
        sentences = [self.verdict]
        if self.family > 1:
            sentences.append(f"It is one of {self.family} comparisons, allowed for as Holm does.")
        if self.doubt.cancelled:
            names = listed(list(self.doubt.cancelled))
            sentences.append(f"The doubt of {names} is common to both and cancels.")
        if self.outlook is not None:
            sentences.append(self.outlook)
        return " ".join(sentences)

    @property
    def outlook(self) -> str | None:
        """What more presses would do, as a sentence; None where that was not simulated."""
        if self.plan is None:
            return None
        share = f"{100 * self.plan.reached:.0f} %"
        if self.plan.presses is not None:
            more = self.plan.presses - min(self.n_first, self.n_second)
            now = f" ({more} more than now)" if more > 0 else ""
            return (
                f"About {self.plan.presses} accepted presses of each{now} would decide it in "
                f"{share} of cases, if the setups are as these presses suggest."
            )
        least = f"Even {self.plan.most} presses of each would decide it in only {share} of cases: "
        if self.doubt.left_u_ms > _NOTABLE_DOUBT * self.margin.ms:
            return (
                f"{least}the doubt of {self.doubt.left_u_ms:.1f} ms that the presses share must "
                "be measured down first."
            )
        left = f"{self.doubt.left_u_ms:.1f}"
        shared = (
            "" if left == "0.0" else f", or the doubt of {left} ms that they share is in the way"
        )
        return (
            f"{least}the true difference seems to lie near the margin, or the presses spread too "
            f"widely for it{shared}."
        )

    @property
    def verdict(self) -> str:
        """The answer as a sentence, with the difference and its interval."""
        later, sooner = self.first, self.second
        shift, inner = self.shift_ms, self.inner_ms
        if shift.value < 0:
            later, sooner = sooner, later
            shift, inner = turned(shift), turned(inner)
        numbers = f"{self.n_first} and {counted(self.n_second, 'press')}"
        seen = f"{told(shift, 'ms')}, {100 * shift.level:.0f} % interval, {numbers}"
        match self.answer:
            case Answer.DIFFERENT:
                return f"{later} answers later than {sooner}, by at least {self.margin}: {seen}."
            case Answer.DIFFERENT_UNDER:
                return f"{later} answers later than {sooner}, by less than {self.margin}: {seen}."
            case Answer.SAME:
                return (
                    f"{self.first} and {self.second} are the same within {self.margin}: "
                    f"{later} later by {told(inner, 'ms')}, {100 * inner.level:.0f} % interval, "
                    f"{numbers}."
                )
            case Answer.UNDECIDED:
                if self.differs:
                    return (
                        f"{later} answers later than {sooner}, but whether by {self.margin} "
                        f"or more is undecided: {seen}."
                    )
                return (
                    f"Undecided: the presses neither tell {self.first} and {self.second} apart "
                    f"nor show them the same within {self.margin}: {later} later by {seen}."
                )


def compare(
    first: Sample,
    second: Sample,
    margin: Margin,
    *,
    alpha: float = 0.05,
    rng: np.random.Generator | None = None,
) -> Comparison:
    """Return what the presses say of two setups.

    Parameters
    ----------
    alpha : float
        Chance of a wrong "different" (two-sided), and of a wrong "the same" where the
        true difference is the margin.
    rng : Generator | None
        For simulating how many presses would decide; None leaves that out.
    """
    (only,) = _compared([(first, second)], margin, alpha, rng)
    return only


def compare_all(
    samples: Sequence[Sample],
    margin: Margin,
    *,
    against: str | None = None,
    alpha: float = 0.05,
    rng: np.random.Generator | None = None,
) -> tuple[Comparison, ...]:
    """Return every pair compared, or every setup with one, as one family.

    Parameters
    ----------
    against : str | None
        Name of the setup that each other is compared with; None compares all pairs.

    Raises
    ------
    BadSetting
        Fewer than two setups, two of one name, or none named ``against``.
    BadSample
        A setup without a press.
    """
    names = [sample.name for sample in samples]
    if len(samples) < 2:
        raise BadSetting(f"{counted(len(samples), 'setup')} cannot be compared; give two or more")
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise BadSetting(f"two setups are named {twice[0]}; give each a name of its own")
    if against is None:
        return _compared(list(combinations(samples, 2)), margin, alpha, rng)
    if against not in names:
        raise BadSetting(f"no setup is named {against}; give one of {listed(names, 'or')}")
    base = samples[names.index(against)]
    return _compared([(one, base) for one in samples if one is not base], margin, alpha, rng)


def _compared(
    pairs: Sequence[tuple[Sample, Sample]],
    margin: Margin,
    alpha: float,
    rng: np.random.Generator | None,
) -> tuple[Comparison, ...]:
    if not 0.0 < alpha < 0.5:
        raise BadSetting(f"an error rate of {alpha:g} cannot be; give one between 0 and 0.5")
    empty = [sample.name for pair in pairs for sample in pair if sample.latency_ms.size == 0]
    if empty:
        raise BadSample(f"{empty[0]} has no accepted press; review its doubtful ones or film again")
    doubts = [doubt_of_difference(first, second) for first, second in pairs]
    shifts = [
        shift_between(
            first.latency_ms, first.own_u_ms, second.latency_ms, second.own_u_ms, doubt.left_u_ms
        )
        for (first, second), doubt in zip(pairs, doubts, strict=True)
    ]
    p_difference = holm([shift.p_two_sided(0.0) for shift in shifts]).tolist()
    p_margin = holm([_p_under(shift, margin.ms) for shift in shifts]).tolist()
    sameness = [same_shift(shift, margin.ms, alpha) for shift in shifts]
    p_same = holm([tests.p for tests in sameness]).tolist()
    compared = []
    for i, (first, second) in enumerate(pairs):
        differs = p_difference[i] <= alpha
        answer = _answer(differs, p_margin[i] <= alpha, p_same[i] <= alpha)
        plan = None
        if rng is not None and answer is Answer.UNDECIDED:
            plan = _presses_to_decide(
                first, second, margin, alpha / len(pairs), doubts[i].left_u_ms, rng
            )
        compared.append(
            Comparison(
                first=first.name,
                second=second.name,
                n_first=first.latency_ms.size,
                n_second=second.latency_ms.size,
                margin=margin,
                answer=answer,
                differs=differs,
                shift_ms=shifts[i].interval(1.0 - alpha),
                inner_ms=sameness[i].difference,
                first_beats=probability_less(first.latency_ms, second.latency_ms),
                p_difference=p_difference[i],
                p_margin=p_margin[i],
                p_same=p_same[i],
                family=len(pairs),
                permutation=rank_sum_test(first.latency_ms, second.latency_ms),
                doubt=doubts[i],
                plan=plan,
            )
        )
    return tuple(compared)


def _answer(differs: bool, by_margin: bool, same: bool) -> Answer:
    if differs and by_margin:
        return Answer.DIFFERENT
    if same:
        return Answer.DIFFERENT_UNDER if differs else Answer.SAME
    return Answer.UNDECIDED


def _p_under(shift: Shift, margin: float) -> float:
    """Two-sided p of a shift of the margin's size, 1 where the estimate itself is under it."""
    if abs(shift.value) <= margin:
        return 1.0
    return shift.p_two_sided(math.copysign(margin, shift.value))


def _presses_to_decide(
    first: Sample,
    second: Sample,
    margin: Margin,
    alpha: float,
    systematic_u: float,
    rng: np.random.Generator,
) -> Plan | None:
    if min(first.latency_ms.size, second.latency_ms.size) < FEWEST_FOR_A_PLAN:
        return None

    def decides(shift: Shift) -> bool:
        if shift.lies_within(margin.ms, alpha):
            return True
        border = math.copysign(margin.ms, shift.value)
        return abs(shift.value) > margin.ms and shift.excludes(border, alpha)

    return presses_that_tell(
        from_pilot(first.latency_ms, first.own_u_ms),
        from_pilot(second.latency_ms, second.own_u_ms),
        decides,
        goal=f"deciding between {first.name} and {second.name} at a margin of {margin}",
        rng=rng,
        systematic_u=systematic_u,
    )
