"""No model, however broken or hostile, makes a verdict milder than the limit rule's."""

from __future__ import annotations

import threading
import time
from collections import Counter
from datetime import UTC, datetime
from itertools import product

import numpy as np
import pytest

from seamtell.features.contracts import UNCLASSIFIED, Flaw, RecipeLimits, SeamTrace
from seamtell.models.answers import Answers, unclassified_answers
from seamtell.models.guarded import asks_for_review, guarded_verdict, guarded_verdicts, safe_answers
from seamtell.models.limit_rule import LimitResult, apply_limit_rule
from seamtell.models.limit_rule_batch import LIMIT_REASONS, LimitResults
from seamtell.models.reasons import Reason
from seamtell.models.verdict import Verdict

CLASSES = tuple(flaw.value for flaw in Flaw)
K = len(CLASSES)
ACCEPTED = LimitResult(Verdict.ACCEPT, (), "")
REJECTED = LimitResult(Verdict.REJECT, ("scatter",), "above_limit")


def answers_for(named: list[str], /, **change) -> Answers:
    n = len(named)
    probabilities = np.full((n, K), 0.05)
    codes = np.array([CLASSES.index(label) for label in named], dtype=np.int16)
    probabilities[np.arange(n), codes] = 0.8
    fields = {
        "classes": CLASSES,
        "probabilities": probabilities,
        "codes": codes,
        "sets": codes[:, None] == np.arange(K),
        "novelty_p": np.full(n, 0.5),
        "reason_codes": np.full(n, -1, np.int8),
    }
    return Answers(**{**fields, **change})


class Model:
    """Answers with whatever the given function makes of (n, random generator)."""

    classes = CLASSES

    def __init__(self, make, rng=None) -> None:
        self.make, self.rng = make, rng or np.random.default_rng(0)

    def answer(self, values, recipes) -> Answers:
        values[:] = 0.0  # a model may spoil what it was given
        return self.make(len(values), self.rng)


def random_answers(n: int, rng: np.random.Generator) -> Answers:
    probabilities = rng.dirichlet(np.ones(K) * 0.3, n)
    labels = [str(CLASSES[i]) for i in rng.integers(0, K, n)]
    return answers_for(labels, probabilities=probabilities, novelty_p=rng.random(n))


def spoiled(n: int, rng: np.random.Generator) -> Answers:
    """Random answers of which every row holds nonsense in one cell."""
    given = random_answers(n, rng)
    for i in range(n):
        match rng.integers(0, 13):
            case 0:
                given.probabilities[i, 0] = np.nan
            case 1:
                given.probabilities[i] = -1.0
            case 2:
                given.probabilities[i] *= 3
            case 3:
                given.probabilities[i, :2] = np.inf, -np.inf
            case 4:
                given.novelty_p[i] = 17.0
            case 5:
                given.novelty_p[i] = -np.inf
            case 6:
                given.codes[i] = K
            case 7:
                given.codes[i] = -2
            case 8:
                given.codes[i] = (given.codes[i] + 1) % K  # another label than the set holds
            case 9:
                given.sets[i] = True
            case 10:
                given.reason_codes[i] = 3  # a label, and a reason for none
            case 11:
                given.codes[i] = -1  # no label, and no reason
            case _:
                given.codes[i], given.reason_codes[i] = -1, len(Reason)
    return given


def raising(error: type[BaseException]):
    def make(n: int, rng: np.random.Generator) -> Answers:
        raise error("the model broke")

    return make


def recursing(n: int, rng: np.random.Generator) -> Answers:
    return recursing(n, rng)


def slow(n: int, rng: np.random.Generator) -> Answers:
    time.sleep(0.03)
    return answers_for(["sound"] * n)


def warning_of_numpy(n: int, rng: np.random.Generator) -> Answers:
    return answers_for(["sound"] * n, novelty_p=np.zeros(n) / 0.0)


class Lying(np.ndarray):
    """An array that says of itself whatever helps it through."""

    def copy(self, order="C"):
        return self

    @property
    def shape(self):
        return (1,)

    def __array_function__(self, function, types, args, kwargs):
        return True

    def __array_ufunc__(self, *args, **kwargs):
        return np.True_


def lying(n: int, rng: np.random.Generator) -> Answers:
    given = answers_for(["sound"] * n)
    return answers_for(["sound"] * n, codes=given.codes.view(Lying), sets=given.sets.view(Lying))


class SaysAnother(Answers):
    """Every look at it gives another column."""

    @property
    def codes(self):
        self.looks = getattr(self, "looks", 0) + 1
        return np.full(self.looks, 4, np.int16)

    @codes.setter
    def codes(self, value):
        pass


def changing(n: int, rng: np.random.Generator) -> Answers:
    given = object.__new__(SaysAnother)
    for name, value in vars(answers_for(["sound"] * n)).items():
        if name != "codes":
            object.__setattr__(given, name, value)
    return given


def strided(array: np.ndarray) -> np.ndarray:
    """The same numbers with a stride of a terabyte to whatever lies behind the first row."""
    return np.lib.stride_tricks.as_strided(array, strides=(2**40, *array.strides[1:]))


def spread(array: np.ndarray) -> np.ndarray:
    """The same numbers, every second cell of a larger array."""
    wide = np.repeat(array, 2, axis=-1)
    return wide[..., ::2]


def sound(**change):
    """An adversary that says sound, with some columns put through a function."""

    def make(n: int, rng: np.random.Generator) -> Answers:
        given = answers_for(["sound"] * n)
        changed = {name: spoil(getattr(given, name)) for name, spoil in change.items()}
        return answers_for(["sound"] * n, **changed)

    return make


ARRAY_ATTACKS = {
    "object array of codes": sound(codes=lambda a: a.astype(object)),
    "object array of probabilities": sound(probabilities=lambda a: a.astype(object)),
    "codes that are not a number": sound(codes=lambda a: np.full(len(a), np.nan)),
    "wide codes": sound(codes=lambda a: a.astype(np.int64)),
    "unsigned reasons": sound(reason_codes=lambda a: a.view(np.uint8)),
    "sets of numbers": sound(sets=lambda a: a.astype(np.int8)),
    "other byte order": sound(codes=lambda a: a.astype(">i2")),
    "probabilities in other byte order": sound(probabilities=lambda a: a.astype(">f8")),
    "complex probabilities": sound(probabilities=lambda a: a.astype(complex)),
    "masked probabilities": sound(probabilities=np.ma.masked_invalid),
    "array of a subclass": sound(probabilities=lambda a: a.view(np.recarray)),
    "list of codes": sound(codes=lambda a: a.tolist()),
    "no codes": sound(codes=lambda a: None),
    "huge strides": sound(probabilities=strided, codes=strided),
    "every second cell": sound(novelty_p=spread),
    "one cell for all": sound(novelty_p=lambda a: np.broadcast_to(a[:1] if len(a) else a, a.shape)[::-1]),
    "sets turned round": sound(sets=lambda a: np.asfortranarray(np.repeat(a, 2, axis=0)[::2])),
    "column of codes": sound(codes=lambda a: a[:, None]),
    "lying arrays": lying,
    "changing columns": changing,
}

ADVERSARIES = {
    **ARRAY_ATTACKS,
    "random": random_answers,
    "always sound": lambda n, rng: answers_for(["sound"] * n),
    "always lack of fusion": lambda n, rng: answers_for(["lack_of_fusion"] * n),
    "constant": lambda n, rng: answers_for(["sound"] * n, probabilities=np.full((n, K), 1 / K)),
    "not a number": lambda n, rng: answers_for(["sound"] * n, probabilities=np.full((n, K), np.nan)),
    "infinite": lambda n, rng: answers_for(["sound"] * n, probabilities=np.full((n, K), np.inf)),
    "not a distribution": lambda n, rng: answers_for(["sound"] * n, probabilities=np.ones((n, K))),
    "spoiled": spoiled,
    "one row too many": lambda n, rng: answers_for(["sound"] * (n + 1)),
    "one class too few": lambda n, rng: answers_for(
        ["sound"] * n, probabilities=np.ones((n, K - 1)) / (K - 1)
    ),
    "flat": lambda n, rng: answers_for(["sound"] * n, probabilities=np.ones(n)),
    "other classes": lambda n, rng: answers_for(["sound"] * n, classes=CLASSES[::-1]),
    "invented classes": lambda n, rng: answers_for(["sound"] * n, classes=("a", "b", "c", "d", "release")),
    "short of labels": lambda n, rng: answers_for(["sound"] * n, codes=np.zeros(n + 2, np.int16)),
    "no answers at all": lambda n, rng: None,
    "a verdict": lambda n, rng: Verdict.ACCEPT,
    "ValueError": raising(ValueError),
    "MemoryError": raising(MemoryError),
    "SystemExit": raising(SystemExit),
    "recursion": recursing,
    "novel": lambda n, rng: unclassified_answers(n, CLASSES, Reason.NOVEL),
    "numpy warning": warning_of_numpy,
    "slow": slow,
}


def is_valid(answers: Answers, n: int) -> bool:
    """Say what every caller may rely on, written out apart from the checks of the module."""
    columns = (answers.probabilities, answers.codes, answers.sets, answers.novelty_p, answers.reason_codes)
    assert [type(column) for column in columns] == [np.ndarray] * 5
    assert [column.dtype for column in columns] == [float, np.int16, bool, float, np.int8]
    assert set(answers.sets.view(np.uint8).ravel().tolist()) <= {0, 1}
    assert answers.probabilities.shape == answers.sets.shape == (n, len(answers.classes))
    assert set(answers.classes) <= set(CLASSES)
    assert (
        len(answers.labels) == len(answers.label_sets) == len(answers.reasons) == len(answers.novelty_p) == n
    )
    for i in range(n):
        if answers.labels[i] == UNCLASSIFIED:
            assert answers.reasons[i] in list(Reason)
        else:
            assert answers.reasons[i] == ""
            assert answers.label_sets[i] == (answers.labels[i],)
            assert abs(answers.probabilities[i].sum() - 1) < 1e-5
            assert (answers.probabilities[i] >= 0).all()
    return True


def random_seam(rng: np.random.Generator) -> tuple[SeamTrace, RecipeLimits | None]:
    n = int(rng.integers(20, 60))
    height = rng.choice([5.0, 8.0, 15.0, 60.0])
    amplitudes = {name: rng.uniform(0, height, n).astype(np.float32) for name in ("specular", "scatter")}
    if rng.random() < 0.05:
        amplitudes["scatter"][n // 2] = np.nan
    if rng.random() < 0.05:
        del amplitudes["scatter"]
    trace = SeamTrace("S", datetime(2026, 1, 1, tzinfo=UTC), "L", "R", 0.0, 0.5, amplitudes)
    limits = RecipeLimits("R", {"specular": 20.0, "scatter": 12.0}, 2.0, 2.0, 9.0)
    return trace, None if rng.random() < 0.05 else limits


def fails_by_a_plain_look(trace: SeamTrace, limits: RecipeLimits | None) -> bool:
    """The limit rule once more, in its plainest form."""
    if limits is None or set(trace.amplitudes_pct) != {"specular", "scatter"}:
        return True
    inner = slice(4, trace.n_samples - 4)
    return any(
        not all(np.isfinite(trace.amplitudes_pct[name])) or max(trace.amplitudes_pct[name][inner]) > limit
        for name, limit in limits.limit_pct.items()
    )


def test_over_ten_thousand_hostile_cases_no_rejected_seam_is_anything_but_rejected() -> None:
    rng = np.random.default_rng(2026)
    seams = [random_seam(rng) for _ in range(700)]
    judged = [(apply_limit_rule(*seam), fails_by_a_plain_look(*seam)) for seam in seams]
    # A slow model leaves a thread that must run out, a recursing one fills the stack: fewer of those.
    share = {**dict.fromkeys(ARRAY_ATTACKS, 10), "slow": 20, "recursion": 2}
    names = [name for name in ADVERSARIES for _ in range(share.get(name, 50))]
    seen: Counter[tuple[str, str]] = Counter()
    too_late = 0
    for _ in range(10_500):
        limit, fails = judged[rng.integers(len(judged))]
        name, n = names[rng.integers(len(names))], int(rng.integers(1, 5))
        model = Model(ADVERSARIES[name], rng)
        answers = safe_answers(model, np.ones((n, 3)), ["R"] * n, budget_s=0.005 if name == "slow" else 30.0)
        assert is_valid(answers, n)
        labels, above = {"lack_of_fusion": 0.5, "sound": 0.1}, bool(rng.random() < 0.3)
        verdict = guarded_verdict(
            limit, bool(asks_for_review(answers, np.full(n, above), labels, True).any())
        )
        assert verdict >= limit.verdict
        assert (verdict is Verdict.REJECT) == fails
        seen[verdict.text, name] += 1
        too_late += name == "slow" and set(answers.reasons) == {"model_timeout"}
    verdicts: Counter[str] = Counter()
    for (verdict_text, _), count in seen.items():
        verdicts[verdict_text] += count
    assert min(verdicts[text] for text in ("accept", "review", "reject")) > 500
    cases = Counter({name: sum(seen[text, name] for text in verdicts) for name in ADVERSARIES})
    assert min(cases.values()) >= 5
    assert cases["always sound"] > 300
    assert cases["slow"] > 100
    assert too_late > 50  # all of them, but for a machine that is itself late


RAISING = {"ValueError", "MemoryError", "SystemExit", "recursion", "numpy warning"}


@pytest.mark.parametrize("name", sorted(set(ADVERSARIES) - RAISING))
def test_the_adversaries_of_these_tests_fail_as_they_are_meant_to(name: str) -> None:
    ADVERSARIES[name](4, np.random.default_rng(0))


def test_each_kind_of_bad_cell_silences_its_row() -> None:
    answers = safe_answers(Model(spoiled), np.ones((400, 2)), ["R"] * 400, budget_s=30.0)
    assert is_valid(answers, 400)
    assert set(answers.reasons) == {"model_error"}


@pytest.mark.parametrize("name", list(ADVERSARIES))
def test_each_adversary_alone_gives_valid_answers(name: str) -> None:
    answers = safe_answers(Model(ADVERSARIES[name]), np.ones((3, 2)), ["R"] * 3, budget_s=10.0)
    assert is_valid(answers, 3)


@pytest.mark.parametrize(
    "name",
    [
        *sorted(set(ARRAY_ATTACKS) - {"one cell for all"}),
        "not a number",
        "infinite",
        "not a distribution",
        "one row too many",
        "one class too few",
        "flat",
        "other classes",
        "invented classes",
        "short of labels",
        "no answers at all",
        "a verdict",
        "ValueError",
        "MemoryError",
        "SystemExit",
        "recursion",
    ],
)
def test_a_broken_model_gives_no_label_and_says_so(name: str) -> None:
    answers = safe_answers(Model(ADVERSARIES[name]), np.ones((3, 2)), ["R"] * 3, budget_s=10.0)
    assert answers.labels == (UNCLASSIFIED,) * 3
    assert answers.reasons == ("model_error",) * 3
    assert np.isnan(answers.probabilities).all()
    assert answers.classes == CLASSES


def test_a_slow_model_gives_no_label_and_returns_within_the_budget() -> None:
    started = time.monotonic()
    hanging = Model(lambda n, rng: time.sleep(2.0))
    answers = safe_answers(hanging, np.ones((2, 2)), ["R"] * 2, budget_s=0.05)
    assert time.monotonic() - started < 1.5
    assert answers.reasons == ("model_timeout",) * 2


def test_no_model_gives_no_label() -> None:
    assert safe_answers(None, np.ones((2, 2)), ["R"] * 2, budget_s=1.0).reasons == ("no_approved_model",) * 2


@pytest.mark.parametrize(
    "classes", [("accept",), (), ["pinhole"], ("pinhole", "pinhole"), None, (Flaw.PINHOLE, "sound")]
)
def test_a_model_with_classes_that_are_no_flaws_is_not_asked(classes) -> None:
    model = Model(ADVERSARIES["always sound"])
    model.classes = classes
    assert safe_answers(model, np.ones((2, 2)), ["R"] * 2, budget_s=5.0).reasons == ("model_error",) * 2


def test_one_bad_row_does_not_silence_the_others() -> None:
    given = answers_for(["pinhole", "sound", "mismatch"])
    given.probabilities[1, 0] = np.nan
    answers = safe_answers(Model(lambda n, rng: given), np.ones((3, 2)), ["R"] * 3, budget_s=5.0)
    assert answers.labels == ("pinhole", UNCLASSIFIED, "mismatch")
    assert answers.reasons == ("", "model_error", "")
    assert np.isnan(answers.probabilities[1]).all()


def test_a_model_cannot_spoil_the_descriptors_of_the_caller() -> None:
    values = np.ones((3, 2))
    safe_answers(Model(random_answers), values, ["R"] * 3, budget_s=5.0)
    assert (values == 1).all()


def test_a_model_cannot_change_its_answers_afterwards() -> None:
    given = answers_for(["sound"])
    answers = safe_answers(Model(lambda n, rng: given), np.ones((1, 2)), ["R"], budget_s=5.0)
    given.probabilities[:] = np.nan
    assert np.isfinite(answers.probabilities).all()


def test_a_model_that_goes_on_writing_into_its_answers_changes_nothing_that_was_checked() -> None:
    stop, writers = threading.Event(), []

    def writing(n: int, rng: np.random.Generator) -> Answers:
        given = answers_for(["sound"] * n)

        def write() -> None:
            while not stop.is_set():
                given.codes[:], given.probabilities[:], given.sets[:] = 99, np.nan, True
                given.codes[:], given.probabilities[:], given.sets[:] = 4, 0.2, False
                given.sets[:, 4] = True

        writers.append(threading.Thread(target=write))
        writers[-1].start()
        return given

    try:
        for _ in range(100):
            answers = safe_answers(Model(writing), np.ones((50, 2)), ["R"] * 50, budget_s=30.0)
            assert is_valid(answers, 50)
            before = answers.labels, answers.codes.copy(), answers.probabilities.copy()
            stop.set()
            writers.pop().join()
            stop.clear()
            assert (answers.codes == before[1]).all()
            assert np.array_equal(answers.probabilities, before[2], equal_nan=True)
    finally:
        stop.set()


def test_bytes_of_a_bool_array_count_once() -> None:
    def heavy(n: int, rng: np.random.Generator) -> Answers:
        given = answers_for(["sound"] * n)
        return answers_for(["sound"] * n, sets=(given.sets.astype(np.uint8) * 173).view(np.bool_))

    answers = safe_answers(Model(heavy), np.ones((4, 2)), ["R"] * 4, budget_s=30.0)
    assert is_valid(answers, 4)
    assert answers.label_sets == (("sound",),) * 4


def test_an_array_that_cannot_be_written_is_as_good_as_another() -> None:
    def frozen(n: int, rng: np.random.Generator) -> Answers:
        given = answers_for(["sound"] * n)
        for column in (given.codes, given.probabilities, given.sets, given.novelty_p):
            column.setflags(write=False)
        return given

    answers = safe_answers(Model(frozen), np.ones((4, 2)), ["R"] * 4, budget_s=30.0)
    assert answers.labels == ("sound",) * 4
    answers.codes[:] = 0  # the copy is the caller's own


def test_a_machine_without_a_further_thread_gives_no_label(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(thread) -> None:
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr("threading.Thread.start", refuse)
    answers = safe_answers(Model(random_answers), np.ones((1, 2)), ["R"], budget_s=5.0)
    assert answers.reasons == ("model_error",)


def test_the_trained_model_passes_unchanged(shop_result, shop_table) -> None:
    direct = shop_result.model.answer(shop_table.values, shop_table.recipes.tolist())
    safe = safe_answers(shop_result.model, shop_table.values, shop_table.recipes.tolist(), budget_s=60.0)
    assert (safe.labels, safe.label_sets, safe.reasons) == (direct.labels, direct.label_sets, direct.reasons)
    assert (safe.probabilities == direct.probabilities).all()


@pytest.mark.parametrize(("limit", "asks"), list(product([ACCEPTED, REJECTED], [False, True])))
def test_the_verdict_is_the_stricter_of_the_two(limit: LimitResult, asks: bool) -> None:
    expected = {
        (Verdict.ACCEPT, False): Verdict.ACCEPT,
        (Verdict.ACCEPT, True): Verdict.REVIEW,
        (Verdict.REJECT, False): Verdict.REJECT,
        (Verdict.REJECT, True): Verdict.REJECT,
    }
    assert guarded_verdict(limit, asks) is expected[limit.verdict, asks]


@pytest.mark.parametrize("other", [0, 1, None, "review", Verdict.ACCEPT, np.True_, answers_for(["sound"])])
def test_nothing_but_a_plain_bool_reaches_the_verdict(other) -> None:
    with pytest.raises(TypeError, match="expected LimitResult and bool"):
        guarded_verdict(REJECTED, other)


def test_a_verdict_in_place_of_a_limit_result_is_refused() -> None:
    with pytest.raises(TypeError, match="expected LimitResult and bool"):
        guarded_verdict(Verdict.ACCEPT, False)


LABELS = {"lack_of_fusion": 0.8}
BELOW, ABOVE = np.array([False]), np.array([True])


def test_a_listed_label_below_the_limit_asks_from_its_probability_on() -> None:
    answers = answers_for(["lack_of_fusion"])
    assert asks_for_review(answers, BELOW, {"lack_of_fusion": 0.8}, False).tolist() == [True]
    assert asks_for_review(answers, BELOW, {"lack_of_fusion": 0.81}, False).tolist() == [False]


def test_an_indication_above_the_limit_never_asks() -> None:
    assert not asks_for_review(answers_for(["lack_of_fusion"]), ABOVE, LABELS, True).any()
    assert not asks_for_review(unclassified_answers(1, CLASSES, Reason.NOVEL), ABOVE, LABELS, True).any()


def test_a_label_that_is_not_listed_does_not_ask() -> None:
    assert not asks_for_review(answers_for(["pinhole"]), BELOW, LABELS, True).any()


def test_a_novel_indication_asks_when_told_to() -> None:
    novel = unclassified_answers(1, CLASSES, Reason.NOVEL)
    assert asks_for_review(novel, BELOW, LABELS, True).tolist() == [True]
    assert asks_for_review(novel, BELOW, LABELS, False).tolist() == [False]


def test_other_reasons_for_no_label_do_not_ask() -> None:
    for reason in set(Reason) - {Reason.NOVEL}:
        assert not asks_for_review(unclassified_answers(1, CLASSES, reason), BELOW, LABELS, True).any()


def test_each_row_asks_by_itself() -> None:
    rng = np.random.default_rng(5)
    answers = safe_answers(Model(spoiled_sometimes, rng), np.ones((500, 2)), ["R"] * 500, budget_s=30.0)
    above, labels = rng.random(500) < 0.3, {"lack_of_fusion": 0.5, "sound": 0.4, "accept": 0.0}
    expected = []
    for i in range(500):  # one row after the other, by name
        label, reason = answers.labels[i], answers.reasons[i]
        named = label in labels and answers.probabilities[i, CLASSES.index(label)] >= labels[label]
        expected.append(not above[i] and (reason == "novel" or bool(named)))
    assert asks_for_review(answers, above, labels, True).tolist() == expected
    assert 50 < sum(expected) < 450


def spoiled_sometimes(n: int, rng: np.random.Generator) -> Answers:
    given = random_answers(n, rng)
    given.codes[::7], given.sets[::7], given.reason_codes[::7] = -1, False, list(Reason).index(Reason.NOVEL)
    given.probabilities[::11] = np.nan
    return given


def many_results(rng: np.random.Generator, n: int) -> LimitResults:
    rejects = rng.random(n) < 0.5
    exceeded = rejects[:, None] & (rng.random((n, 2)) < 0.5)
    codes = np.where(rejects, rng.integers(0, len(LIMIT_REASONS), n), -1).astype(np.int8)
    return LimitResults(("specular", "scatter"), np.where(rejects, 2, 0).astype(np.int8), exceeded, codes)


def test_the_verdicts_of_many_seams_are_those_of_each() -> None:
    rng = np.random.default_rng(8)
    limits, asks = many_results(rng, 2000), rng.random(2000) < 0.5
    expected = [guarded_verdict(limits.row(i), bool(asks[i])) for i in range(2000)]
    given = guarded_verdicts(limits, asks)
    assert given.tolist() == expected
    assert set(expected) == set(Verdict)
    assert (given >= limits.verdicts).all()


def test_a_bool_that_holds_another_byte_asks_for_a_review_and_for_nothing_else() -> None:
    limits = many_results(np.random.default_rng(1), 256)
    asks = np.arange(256, dtype=np.uint8).view(np.bool_)
    expected = np.maximum(limits.verdicts, (np.arange(256) > 0).astype(np.int8))
    assert guarded_verdicts(limits, asks).tolist() == expected.tolist()


@pytest.mark.parametrize(
    "asks",
    [
        np.zeros(3, np.int8),
        np.zeros(3),
        np.zeros(3, object),
        [False] * 3,
        None,
        np.zeros(2, bool),
        np.zeros((3, 1), bool),
        np.zeros(3, bool).view(Lying),
        np.ma.zeros(3, bool),
    ],
)
def test_nothing_but_a_plain_array_of_bool_reaches_the_verdicts(asks) -> None:
    with pytest.raises(TypeError, match="expected"):
        guarded_verdicts(many_results(np.random.default_rng(1), 3), asks)


def test_verdicts_in_place_of_limit_results_are_refused() -> None:
    with pytest.raises(TypeError, match="expected LimitResults and ndarray"):
        guarded_verdicts(np.zeros(3, np.int8), np.zeros(3, bool))


def test_limit_results_cannot_be_made_milder_afterwards() -> None:
    verdicts = np.full(2, 2, np.int8)
    limits = LimitResults(("specular",), verdicts, np.ones((2, 1), bool), np.full(2, 5, np.int8))
    verdicts[:] = 0
    with pytest.raises(ValueError, match="read-only"):
        limits.verdicts[:] = 0
    assert guarded_verdicts(limits, np.zeros(2, bool)).tolist() == [2, 2]
