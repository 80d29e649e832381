"""Formulas over columns, held against Python's own arithmetic and against exact fractions."""

from __future__ import annotations

import math
import time
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from experiments.expressions import Column, Expression, ExpressionError
from tests.examples import examples

NAMES = {"a": None, "b": None, "c": None, "w": ("x", "y", "z")}
NAN = math.nan


def run(text, names=NAMES, inactive=None, **columns):
    arrays = {
        name: np.array(values, dtype=object if isinstance(values[0], str) else None)
        for name, values in columns.items()
    }
    return Expression(text, names).evaluate(arrays, inactive=inactive).tolist()


def words(*values):
    return np.array(values, dtype=object)


# -- against Python ------------------------------------------------------------------------------

# Quarters are exact in binary and far apart, so that tolerance cannot matter.
quarters = st.integers(-40, 40).map(lambda n: n / 4)


def numbers(depth):
    leaf = st.one_of(st.sampled_from(["a", "b", "c"]), quarters.map(lambda v: f"({v})"))
    if depth == 0:
        return leaf
    below = numbers(depth - 1)
    return st.one_of(
        leaf,
        st.tuples(below, st.sampled_from("+-*"), below).map(lambda t: f"({t[0]} {t[1]} {t[2]})"),
        st.tuples(st.sampled_from(["min", "max"]), below, below).map(
            lambda t: f"{t[0]}({t[1]}, {t[2]})"
        ),
        below.map(lambda t: f"abs(-{t})"),
        st.tuples(below, truths(depth - 1), below).map(
            lambda t: f"({t[0]} if {t[1]} else {t[2]})"
        ),
    )


def truths(depth):
    side = numbers(max(0, depth - 1))
    leaf = st.one_of(
        st.tuples(side, st.sampled_from(["<", "<=", ">", ">=", "==", "!="]), side).map(" ".join),
        st.tuples(side, side, side).map(lambda t: f"{t[0]} < {t[1]} <= {t[2]}"),
        st.sampled_from(['w == "x"', '"y" != w', 'w in ["x", "z"]', 'w not in ("x",)', "True"]),
    ).map(lambda t: f"({t})")
    if depth == 0:
        return leaf
    below = truths(depth - 1)
    return st.one_of(
        leaf,
        st.tuples(below, st.sampled_from(["and", "or"]), below).map(lambda t: f"({' '.join(t)})"),
        below.map(lambda t: f"(not {t})"),
    )


rows = st.lists(
    st.tuples(quarters, quarters, quarters, st.sampled_from("xyz")), min_size=1, max_size=5
)


def python(text, row):
    return eval(text, {"__builtins__": {"min": min, "max": max, "abs": abs}}, row)  # the oracle


def as_columns(data):
    a, b, c, w = zip(*data, strict=True)
    return {"a": np.array(a), "b": np.array(b), "c": np.array(c), "w": words(*w)}


@settings(max_examples=examples(150), deadline=None)
@given(numbers(3), rows)
def test_numbers_agree_with_python(text, data):
    found = Expression(text, NAMES).evaluate(as_columns(data))
    expected = [python(text, dict(zip("abcw", row, strict=True))) for row in data]
    assert found.dtype == np.float64
    np.testing.assert_allclose(found, expected, rtol=1e-12)


@settings(max_examples=examples(150), deadline=None)
@given(truths(3), rows)
def test_truths_agree_with_python(text, data):
    found = Expression(text, NAMES).evaluate(as_columns(data))
    assert found.dtype == bool
    assert found.tolist() == [python(text, dict(zip("abcw", row, strict=True))) for row in data]


@settings(max_examples=examples(150), deadline=None)
@given(truths(2), rows, st.sampled_from("abcw"), st.lists(quarters, min_size=3, max_size=3))
def test_what_is_known_does_not_depend_on_the_inactive_variable(text, data, missing, others):
    """Kleene's logic is sound: a known result is the same whatever the unknown part would be."""
    columns = as_columns(data)
    columns[missing] = np.array([None if missing == "w" else NAN] * len(data))
    column = Expression(text, NAMES).column(columns)
    for place, row in enumerate(data):
        if not column.inactive[place]:
            for other in "xyz" if missing == "w" else others:
                scope = dict(zip("abcw", row, strict=True)) | {missing: other}
                assert python(text, scope) == column.values[place]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("7 // 2 + 0 * a", 3.0),
        ("-7 // 2 + 0 * a", -4.0),
        ("7 % 3 + 0 * a", 1.0),
        ("-7 % 3 + 0 * a", 2.0),
        ("7 % -3 + 0 * a", -2.0),
        ("2 ** 0.5 + 0 * a", math.sqrt(2)),
        ("sqrt(16) + log(exp(2)) + log10(1000) + 0 * a", 9.0),
        ("floor(-1.5) + ceil(1.2) + 0 * a", 0.0),
        ("round(2.675, 1) + round(1234, -2) + 0 * a", 1202.7),
        ("(a > 0) + (a > 5) + 1", 2.0),
        ("2 + 3 * 4 ** 2 + 0 * a", 50.0),
        ("-2 ** 2 + 0 * a", -4.0),
    ],
)
def test_operators_and_functions(text, expected):
    assert run(text, a=[1.0]) == [pytest.approx(expected, rel=1e-12)]


# -- decimals as a maker means them --------------------------------------------------------------

tenths = st.integers(1, 400)
digits = st.sampled_from([10, 100, 1000])


@settings(max_examples=examples(300), deadline=None)
@given(tenths, tenths, st.integers(1, 12), digits)
@example(p=11, q=1, k=11, scale=10)  # 1.1 / 0.1 is a little above 11 in binary
@example(p=3, q=1, k=3, scale=10)  # 3 * 0.1 is a little above 0.3
@example(p=6, q=2, k=3, scale=10)  # 0.6 / 0.2 is a little below 3
def test_comparisons_of_decimals_agree_with_exact_fractions(p, q, k, scale):
    a, b = p / scale, q / scale
    exact_a, exact_b = Fraction(p, scale), Fraction(q, scale)
    columns = {"a": np.array([a]), "b": np.array([b]), "c": np.array([float(k)])}
    for text, truth in (
        ("a >= c * b", exact_a >= k * exact_b),
        ("a > c * b", exact_a > k * exact_b),
        ("a == c * b", exact_a == k * exact_b),
        ("a != c * b", exact_a != k * exact_b),
        ("a <= c * b", exact_a <= k * exact_b),
        ("a < c * b", exact_a < k * exact_b),
        ("a - c * b >= 0", exact_a >= k * exact_b),
        ("a + -c * b >= 0", exact_a >= k * exact_b),
        ("a % b == 0", exact_a % exact_b == 0),
        ("floor(a / b) == a // b", True),
    ):
        assert Expression(text, NAMES).evaluate(columns)[0] == truth, text
    found = Expression("a % b", NAMES).evaluate(columns)[0]
    assert found == pytest.approx(float(exact_a % exact_b), rel=1e-9, abs=1e-12)
    assert Expression("floor(a / b)", NAMES).evaluate(columns)[0] == exact_a // exact_b
    assert Expression("ceil(a / b)", NAMES).evaluate(columns)[0] == -(-exact_a // exact_b)


def test_the_usual_traps_of_binary_decimals():
    assert 3 * 0.1 > 0.3  # why this is needed
    assert run("0.3 >= 3 * a", a=[0.1]) == [True]
    assert run("0.6 % a", a=[0.2]) == [0.0]
    assert run("a in [0.3]", a=[0.1 + 0.2]) == [True]
    assert run("0.1 + 0.2 - a == 0", a=[0.3]) == [True]


def test_a_real_difference_is_not_swallowed():
    assert run("a > b", a=[1.00000001], b=[1.0]) == [True]
    assert run("a == b", a=[1e-15], b=[2e-15]) == [False]
    assert run("a - b", a=[1.0 + 1e-7], b=[1.0]) == [pytest.approx(1e-7, rel=1e-6)]


# -- inactive variables --------------------------------------------------------------------------


def test_a_rule_that_touches_an_inactive_variable_holds():
    assert run("a > 5", a=[NAN, 1.0, 9.0]) == [True, False, True]
    assert run("not a > 5", a=[NAN, 1.0, 9.0]) == [True, True, False]
    assert run("b < a + 1 < 3", a=[NAN, 1.0], b=[0.0, 5.0]) == [True, False]
    assert run("a in [1, 2]", a=[NAN, 3.0]) == [True, False]
    assert run("a not in [1, 2]", a=[NAN, 1.0]) == [True, False]
    assert run("a != 1", a=[NAN, 1.0]) == [True, False]


def test_words_that_are_inactive():
    data = {"w": words(None, "x", "y")}
    assert Expression('w == "x"', NAMES).evaluate(data).tolist() == [True, True, False]
    assert Expression('w != "x"', NAMES).evaluate(data).tolist() == [True, False, True]
    nothing = {"w": words(None, None)}
    assert Expression('w == "x"', NAMES).evaluate(nothing).tolist() == [True, True]


def test_a_formula_that_touches_an_inactive_variable_is_nan():
    assert run("a + 0 * b", a=[1.0, 2.0], b=[NAN, 0.0]) == [pytest.approx(NAN, nan_ok=True), 2.0]
    assert np.isnan(run("min(a, b)", a=[1.0], b=[NAN])[0])
    assert np.isnan(run("b ** 0", b=[NAN])[0])
    assert np.isnan(run("(b > 1) * 2", b=[NAN])[0])


def test_only_the_branch_that_applies_counts():
    text = 'a if w == "x" else b'
    columns = {"a": np.array([NAN, NAN, 1.0]), "b": np.array([2.0, NAN, NAN]),
               "w": words("y", "x", "x")}  # fmt: skip
    found = Expression(text, NAMES).evaluate(columns)
    np.testing.assert_array_equal(found, [2.0, NAN, 1.0])
    rule = Expression("a > 5 if w == 'x' else b > 5", NAMES)
    assert rule.evaluate(columns).tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("text", "expected"),
    [  # Kleene's truth tables; a is unknown, b > 0 is true, b < 0 is false
        ("a > 0 and b > 0", None),
        ("a > 0 and b < 0", False),
        ("b < 0 and a > 0", False),
        ("a > 0 or b > 0", True),
        ("b > 0 or a > 0", True),
        ("a > 0 or b < 0", None),
        ("not a > 0", None),
        ("a > 0 and a < 0", None),
        ("0 < b < a", None),
        ("0 > b > a", False),
        ("a in [1, 2]", None),
        ("a > 0 if b > 0 else b > 0", None),
        ("b < 0 if b > 0 else a > 0", False),
        ("b > 0 if a > 0 else b > 0", None),
    ],
)
def test_three_valued_logic(text, expected):
    column = Expression(text, NAMES).column({"a": np.array([NAN]), "b": np.array([1.0])})
    found = None if column.inactive[0] else bool(column.values[0])
    assert found is expected


def test_effort_counts_an_inactive_number_as_nothing():
    assert run("a + 2", inactive=0.0, a=[NAN, 1.0]) == [2.0, 3.0]
    text = '10 if w == "x" else 20'
    found = Expression(text, NAMES).evaluate({"w": words(None, "x")}, inactive=0.0)
    assert found.tolist() == [20.0, 10.0]
    found = Expression('1 if w != "x" else 2', NAMES).evaluate({"w": words(None)}, inactive=0.0)
    assert found.tolist() == [1.0]
    hidden = Column(np.array([0, 0]), np.array([True, False]), ("x", "y"))
    assert Expression(text, NAMES).evaluate({"w": hidden}, inactive=0.0).tolist() == [20.0, 10.0]
    same = Expression("1 if w == v else 2", NAMES | {"v": ("x",)})
    nothing = {"w": words(None), "v": words(None)}
    assert same.evaluate(nothing, inactive=0.0).tolist() == [2.0]  # an inactive word equals none


# -- what is not a number ------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["1 / a", "0 / a", "log(a)", "5 % a", "5 // a", "sqrt(a - 1)"])
def test_undefined_results_are_nan_without_warnings(text):
    assert np.isnan(run(text, a=[0.0])[0])


def test_overflow_is_nan_and_takes_no_time():
    begun = time.process_time()
    assert np.isnan(run("a ** a ** a", a=[9.0])[0])
    assert np.isnan(run("exp(a)", a=[1000.0])[0])
    assert time.process_time() - begun < 0.5


def test_an_undefined_comparison_does_not_hold():
    assert run("0 / a > 1", a=[0.0]) == [False]
    assert run("1 / a > 1", a=[0.0]) == [True]  # infinity is above 1
    assert run("1 / a == 3", a=[0.0]) == [False]
    assert run("1 / a - 3 > 1", a=[0.0]) == [True]


@pytest.mark.parametrize("text", ["9**9**9", "a + 1 / 0", "sqrt(-1) * a", "exp(1000) > a"])
def test_constant_parts_that_are_no_number_are_refused(text):
    with pytest.raises(ExpressionError, match="not a finite number"):
        Expression(text, NAMES)


# -- shapes and interface ------------------------------------------------------------------------


def test_names_are_those_that_stand_in_it():
    assert Expression("a + min(b, 2)", NAMES).names == {"a", "b"}
    assert Expression("1 + 2", NAMES).names == frozenset()


def test_a_word_alone_is_refused():
    with pytest.raises(ExpressionError, match="gives a word"):
        Expression("'x'", NAMES)
    with pytest.raises(ExpressionError, match="gives a word"):
        Expression("w", NAMES)


def test_errors_are_value_errors():
    with pytest.raises(ValueError, match="not a known name"):
        Expression("nothing + 1", NAMES)


def test_a_missing_column_is_named():
    with pytest.raises(ExpressionError, match="no column 'b'"):
        run("a + b", a=[1.0])


def test_words_where_numbers_are_needed():
    with pytest.raises(ExpressionError, match="holds words"):
        Expression("p + 1", ["p"]).evaluate({"p": words("x")})
    with pytest.raises(ExpressionError, match="one of them holds words"):
        Expression("p > 1", ["p"]).evaluate({"p": words("x")})
    with pytest.raises(ExpressionError, match="is not a comparison"):
        Expression("p or p", ["p"]).evaluate({"p": np.array([1.0])})


def test_constants_take_the_length_of_the_columns():
    assert Expression("2 + 3", NAMES).evaluate({"a": np.zeros(4)}).tolist() == [5.0] * 4
    assert Expression("1 < 2", NAMES).evaluate({"a": np.zeros(3)}).tolist() == [True] * 3
    assert Expression("a + 1", NAMES).evaluate({"a": np.zeros(0)}).shape == (0,)


def test_words_as_codes_equal_words_as_objects():
    codes = Column(np.array([2, 0, -1]), np.array([False, False, True]), ("x", "y", "z"))
    other = Column(np.array([0, 1, 0]), np.zeros(3, dtype=bool), ("z", "y"))
    names = NAMES | {"v": ("z", "y")}
    same = Expression("w == v", names)
    assert same.evaluate({"w": codes, "v": other}).tolist() == [True, False, True]
    objects = {"w": words("z", "x", None), "v": words("z", "y", "z")}
    assert same.evaluate(objects).tolist() == [True, False, True]


def test_evaluating_leaves_the_columns_alone():
    a = np.array([1.0, NAN])
    a.flags.writeable = False
    found = Expression("a", NAMES).evaluate({"a": a})
    found[0] = 7.0
    assert a[0] == 1.0


def test_ten_thousand_rows_cost_about_a_millisecond():
    rng = np.random.default_rng(0)
    columns = {
        "a": rng.random(10_000),
        "b": rng.random(10_000),
        "w": Column(rng.integers(0, 3, 10_000), np.zeros(10_000, dtype=bool), ("x", "y", "z")),
    }
    rule = Expression('a * 2 + b / 3 > 0.5 and (w == "x" or a % 0.2 < b)', NAMES)
    rule.evaluate(columns)
    begun = time.process_time()
    for _ in range(10):
        rule.evaluate(columns)
    assert (time.process_time() - begun) / 10 < 0.02  # twenty times what it takes, for busy days
