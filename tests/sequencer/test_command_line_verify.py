"""What `verify` names where a result comes out otherwise than it was recorded."""

from sequencer.command_line.verify import differences

BEFORE = {
    "outcome": "pass",
    "verdicts": [{"figure": "drift", "verdict": "pass", "why": "so", "upper": 0.03}],
    "figures": [{"name": "drift", "value": 0.01, "budget": [{"name": "noise", "u": 1e-4}]}],
}


def found(now: object) -> list[str]:
    return list(differences(BEFORE, now, "result"))


def test_what_an_older_version_did_not_record_and_words_are_not_compared() -> None:
    now = {
        "outcome": "pass",
        "verdicts": [
            {"figure": "drift", "verdict": "pass", "why": "otherwise", "upper": 0.03, "apart": ""}
        ],
        "figures": [
            {"name": "drift", "value": 0.01, "budget": [{"name": "noise", "u": 1e-4, "unit": "V"}]}
        ],
        "new": 1,
    }
    assert found(now) == []


def test_each_other_number_is_named_by_its_figure() -> None:
    now = {
        "outcome": "fail",
        "verdicts": [{"figure": "drift", "verdict": "fail", "why": "so", "upper": 0.03}],
        "figures": [{"name": "drift", "value": 0.01, "budget": [{"name": "noise", "u": 2e-4}]}],
    }
    assert found(now) == [
        "result.outcome",
        "result.verdicts[drift].verdict",
        "result.figures[drift].budget[noise].u",
    ]


def test_what_is_missing_now_or_of_another_length_differs() -> None:
    assert found({"outcome": "pass", "verdicts": [], "figures": BEFORE["figures"]}) == [
        "result.verdicts"
    ]
    assert found(None) == ["result"]
