"""Numbers as words: exact."""

from msgspec.structs import replace

from blinkspan.publish import words


def test_a_setup_is_told_in_plain_sentences(document):
    summary = replace(
        document.summary,
        n=12,
        median_ms=84.26,
        median_interval_ms=(80.1, 88.94),
        interval_level=0.95,
        low_ms=78.02,
        high_ms=93.96,
        median_game_frames=5.0556,
    )
    assert words.sentence(summary) == (
        "The median of 12 accepted presses is 84.3 ms, 5.1 game frames "
        "(95 % interval 80.1 to 88.9 ms). The quickest took 78.0 ms, the slowest 94.0 ms."
    )
    assert words.counts(summary) == "n = 12, 2 doubtful, 1 rejected"
    alone = replace(summary, n=1, doubtful=0, rejected=0, median_game_frames=None)
    assert words.sentence(alone) == (
        "The median of 1 accepted press is 84.3 ms (95 % interval 80.1 to 88.9 ms)."
    )
    assert words.counts(alone) == "n = 1"


def test_no_accepted_press_is_told_too(document):
    nothing = replace(document.summary, n=0, median_ms=None)
    assert words.sentence(nothing) == (
        "No press was accepted (2 doubtful, 1 rejected), so there is no median."
    )


def test_medians_of_several_setups():
    assert words.medians_sentence({"A": None}) == (
        "No setup has an accepted press, so there is no median."
    )
    assert words.medians_sentence({"A": 70.0, "B": None, "C": None}) == (
        "The median of A is 70.0 ms; 2 setups have none."
    )


def test_none_is_a_dash_in_every_form():
    forms = (
        words.number, words.milliseconds, words.seconds, words.hertz, words.plus_minus,
        words.interval, words.level, words.game_frames,
    )  # fmt: skip
    assert {form(None) for form in forms} == {"–"}
    assert words.with_u(None, 0.7) == "–"


def test_a_verdict_carries_its_reason(document):
    assert words.verdict(document.presses[0]) == "accepted"
    assert words.verdict(document.presses[3]) == "doubtful: two candidates"
