"""The whole ranking of a day table in its plainest form, to compare the engine with.

Written from the description of the method and the contract, not from the engine: dictionaries,
loops over days, the brute-force statistics of ``oracle``. It takes the shuffles as given, so that
p-values can be compared digit by digit.
"""

from __future__ import annotations

from collections import Counter
from itertools import combinations
from math import ceil, isnan, sqrt

import numpy as np
import oracle
from scipy.integrate import quad
from scipy.stats import binom, nct, norm
from scipy.stats import f as f_test
from scipy.stats import t as student

GRID = [(w / 10, phi / 10) for phi in range(10) for w in range(11)]
NUISANCE = "it came with the weekend, a drift or one sensor, and cannot be separated from that"


def rank(table, rules, primary, orders):
    """Return {(factors, outcome): everything the contract says of that rule}, and the family sizes.

    ``orders`` are shuffles of the usable days.
    """
    guard = rules.guardrails
    days = [row for _, row in table.frame.iterrows() if row["usable"]]
    parts = [_outcome(table, rules, name, days) for name in table.outcomes]
    for share, family in _families(parts, primary, guard):
        _judge(family, orders, share, rules)
    passing = sum(
        rule["p_adjusted"] <= guard.claim_level for part in parts for rule in _tested(part)
    )
    out = {}
    for part in parts:
        for rule in _the_better_shapes(part, guard.claim_level):
            if len(rule["factors"]) == 1 or _may_be_told(part, rule, guard, passing):
                out[rule["factors"], part["name"]] = _described(part, rule, rules)
    return out, sum(len({rule["factors"] for rule in _tested(part)}) for part in parts)


def _passes(rule, level):
    """At the claim level, and the raw interval on the side to which the scores point."""
    low, high = (np.sign(rule["t"]) * end for end in rule["interval"])
    return rule["p_adjusted"] <= level and min(low, high) > 0


def _the_better_shapes(part, level):
    """Of a habit as a cut and as a dose one that passes, else the stronger; p is of the better."""
    out = []
    for rule in part["rules"]:
        own = [other for other in part["rules"] if other["factors"] == rule["factors"]]
        tested = [other for other in own if other["withheld"] is None]
        best = (
            min(tested, key=lambda one: (not _passes(one, level), one["p"])) if tested else own[0]
        )
        if rule is best:
            p = _p_of_either(part, *tested) if len(tested) == 2 else best.get("p")
            out.append(best | {"p": p, "both": len(tested) == 2})
    return out


def _p_of_either(part, one, other):
    """The chance that one of two columns is as close to an outcome that points anywhere."""
    X = oracle.whiten(one["X"], part["C"])
    u, v = (
        oracle.residual(oracle.whiten(oracle.centred(rule["values"]), part["C"]), X)
        for rule in (one, other)
    )
    turn = np.arccos(np.clip(u @ v / np.sqrt((u @ u) * (v @ v)), -1, 1))
    df, t = one["df"], max(abs(one["t"]), abs(other["t"]))
    limit = abs(t) / sqrt(df + t * t)

    def beyond(angle):
        closest = max(abs(np.cos(angle)), abs(np.cos(angle - turn)))
        return max(0.0, 1 - (limit / closest) ** 2) ** ((df - 1) / 2) if closest > limit else 0.0

    return quad(beyond, 0, np.pi, points=[turn % np.pi, np.pi / 2], limit=500)[0] / np.pi


def _tested(part):
    return [rule for rule in part["rules"] if rule["withheld"] is None]


def _families(parts, primary, guard):
    """Half the claim level to the primary outcome; of each half a part to rules of two or three.

    What has no rule to test leaves its share to what has.
    """
    weights = {}
    for part in parts:
        half = "primary" if part["name"] == primary else "search"
        for rule in _tested(part):
            kind = "set" if len(rule["factors"]) > 1 else "single"
            weights.setdefault(half, {}).setdefault(kind, {}).setdefault(part["name"], [])
            weights[half][kind][part["name"]].append(rule)
    level = {"primary": guard.primary_share, "search": 1 - guard.primary_share}
    inside = {"single": 1 - guard.sets_share, "set": guard.sets_share}
    by_name = {part["name"]: part for part in parts}
    for half, kinds in weights.items():
        for kind, rules in kinds.items():
            share = level[half] / sum(level[other] for other in weights)
            share *= inside[kind] / sum(inside[other] for other in kinds)
            yield share, [(by_name[name], own) for name, own in rules.items()]


# ---- what is counted and what is tested


def _outcome(table, rules, name, days):
    rule, guard = rules.outcomes[name], rules.guardrails
    by_clock = table.by_clock[name]
    known = [at for at, day in enumerate(days) if not isnan(day[name])]
    part = {
        "name": name,
        "rule": rule,
        "known": known,
        "y": np.array([days[at][name] for at in known]),
        "by_clock": np.array([by_clock[days[at].name] for at in known]),
        "times": np.array([days[at]["day_number"] for at in known], dtype=float),
        "nuisance": _nuisance(days, known, guard),
        "names": [days[at].name for at in known],
    }
    high = _higher_quarter(days, name, rules)
    values = {}
    for factor in table.factors:
        lag = rules.factor(factor).lag.get(rule.window)
        if lag is not None:
            on = dict(zip(table.frame["day_number"], table.frame[factor], strict=True))
            # as it was that many days before; unknown where that day has no row
            every = [float(on.get(day["day_number"] - lag, float("nan"))) for day in days]
            values[factor] = [every[at] for at in known]
    singles = [_rule((factor,), column, part, high, guard) for factor, column in values.items()]
    if _tied(part["y"]) > guard.largest_share_tied:
        for single in singles:
            single["withheld"] = "more than half the values are the same"
        part["rules"] = singles
        return part
    doses = _doses(table, rules, part, days, singles)
    part["rules"] = singles + doses + _sets(singles, values, part, high, guard)
    for rule_ in part["rules"]:
        rule_["X"] = _beside(part, rule_["factors"], rules)
        spread = oracle.kept(rule_["values"], rule_["X"]) if _varies(rule_["values"]) else 0.0
        if rule_["withheld"] is None and spread < guard.least_variation_kept:
            rule_["withheld"] = NUISANCE
    part["rules"] = [
        rule
        for rule in part["rules"]
        if rule["withheld"] is None or (len(rule["factors"]) == 1 and rule["shape"] == "cut")
    ]
    return part


def _doses(table, rules, part, days, singles):
    """The measures of habits, counted towards the habit, in what their slope is told for."""
    guard, found = rules.guardrails, []
    need = max(guard.fewest_units_each_side, ceil(guard.fewest_share_each_side * len(part["y"])))
    for single in singles:
        (factor,) = single["factors"]
        rule = rules.factor(factor)
        if not rule.dose:
            continue
        lag, amounts = rule.lag[part["rule"].window], []
        for at in part["known"]:
            rows = table.frame.index[table.frame["day_number"] == days[at]["day_number"] - lag]
            amount = table.measures.loc[rows[0], factor] if len(rows) else float("nan")
            amounts.append(float(amount) / rule.per * (-1 if "low" in rule.cut else 1))
        known = [amount for amount in amounts if not isnan(amount)]
        low, high = np.quantile(known, [0.25, 0.75]) if known else (0, 0)
        if len(known) < 2 * need or len(set(known)) < 5 or not high > low or _tied(known) > 0.5:
            continue
        scores = iter(oracle.normal_scores(known))
        values = [float("nan") if isnan(amount) else next(scores) for amount in amounts]
        found.append(
            single
            | {
                "shape": "dose",
                "values": np.array(values),
                "amounts": np.array(amounts),
                "withheld": None,
                "span": high - low,
            }
        )
    return found


def _higher_quarter(days, name, rules):
    """The worst quarter of the days of the same sensor; ties of time above by the mean."""
    known = [day for day in days if not isnan(day[name])]
    values = [day[name] for day in known]
    if not values or _tied(values) > rules.guardrails.largest_share_tied:
        return {}
    if max(values) - min(values) < rules.outcomes[name].smallest_worth_it:
        return {}
    then = "day_mean" if name == "minutes_above" and "day_mean" in known[0] else name
    pairs = sorted({(day[name], day[then]) for day in known})
    place = {day.name: pairs.index((day[name], day[then])) for day in known}
    sensors = {day.name: day["sensor"] for day in known}
    sizes, label = Counter(sensors.values()), {}
    for day in place:
        same = [other for other in place if sensors[other] == sensors[day]]
        if len(same) < 8:
            # Too few of a sensor: together with the other rarely used ones, else beside all.
            same = [other for other in place if sizes[sensors[other]] < 8]
            same = same if len(same) >= 8 else list(place)
        label[day] = place[day] > np.quantile([place[other] for other in same], 0.75)
    return label


def _tied(values):
    values = list(values)
    most = max((values.count(value) for value in values), default=0)
    return most / len(values) if most > 1 else 0.0


def _nuisance(days, known, guard):
    """Intercept, weekend, drift, one level a sensor of enough days, each with what it is."""
    columns = [
        ("", [1.0 for _ in days]),
        ("rest_day", [float(day["rest_day"]) for day in days]),
        ("day_number", [float(day["day_number"] - days[0]["day_number"]) for day in days]),
    ]
    sensors = sorted({day["sensor"] for day in days} - {""})
    for sensor in sensors:
        level = [float(day["sensor"] == sensor) for day in days]
        if sum(level) >= guard.sensor_level_from_days:
            columns.append(("sensor", level))
    return [(source, [column[at] for at in known]) for source, column in columns]


def _beside(part, factors, rules):
    """The nuisance that none of the factors is made from; what adds nothing is left out."""
    kept = []
    made_from = {source for factor in factors for source in rules.factor(factor).made_from}
    for source, column in part["nuisance"]:
        wider = [*kept, column]
        if source not in made_from and np.linalg.matrix_rank(np.array(wider).T) == len(wider):
            kept = wider
    return np.array(kept).T


def _rule(factors, column, part, high, guard):
    counts = {"with": 0, "with_high": 0, "without": 0, "without_high": 0, "unknown": 0}
    for value, day in zip(column, part["names"], strict=True):
        side = "unknown" if isnan(value) else "with" if value else "without"
        counts[side] += 1
        if side != "unknown" and high.get(day, False):
            counts[f"{side}_high"] += 1
    need = max(guard.fewest_units_each_side, ceil(guard.fewest_share_each_side * len(column)))
    withheld = None
    if counts["with"] < need:
        withheld = "it came on too few days"
    elif counts["without"] < need:
        withheld = "too few days were without it"
    return {
        "factors": factors,
        "shape": "cut",
        "span": 1.0,
        "values": np.array(column, dtype=float),
        "amounts": np.array(column, dtype=float),
        "counts": counts,
        "withheld": withheld,
    }


def _sets(singles, values, part, high, guard):
    """Rules of two, and of three from enough days; the same days again are not a rule again."""
    usable = [rule for rule in singles if rule["withheld"] is None]
    seen = {_pattern(rule["values"]) for rule in usable}
    names = [rule["factors"][0] for rule in usable]
    largest = guard.largest_rule if len(part["y"]) >= guard.units_for_rules_of_three else 2
    out = []
    for size in range(2, min(largest, guard.largest_rule) + 1):
        for factors in combinations(names, size):
            column = [_all_of(row) for row in zip(*(values[f] for f in factors), strict=True)]
            rule = _rule(factors, column, part, high, guard)
            if rule["withheld"] is None and _pattern(rule["values"]) not in seen:
                seen.add(_pattern(rule["values"]))
                out.append(rule)
    return out


def _all_of(row):
    """No if any is no; else unknown if any is unknown; else yes."""
    if any(value == 0 for value in row):
        return 0.0
    return float("nan") if any(isnan(value) for value in row) else 1.0


def _pattern(column):
    return tuple("?" if isnan(value) else int(value) for value in column)


def _varies(column):
    return len({value for value in column if not isnan(value)}) >= 2


# ---- p-values, sizes, intervals


def _judge(family, orders, share, rules):
    guard = rules.guardrails
    family = [
        (part, [rule for rule in own if rule["X"].tobytes() == X])
        for part, own in family
        for X in dict.fromkeys(rule["X"].tobytes() for rule in own)
    ]
    outcomes = [
        {
            "y": part["y"],
            "times": part["times"],
            "X": own[0]["X"],
            "all_X": _beside(part, (), rules),
            "known": part["known"],
            "rules": np.array([rule["values"] for rule in own]).T,
        }
        for part, own in family
    ]
    found = oracle.maxt(outcomes, orders, GRID)
    penalty = np.array(
        [
            guard.dose_penalty if rule["shape"] == "dose" else 0.0
            for _, own in family
            for rule in own
        ]
    )
    z, permuted = np.abs(found["z"]) - penalty, found["permuted"] - penalty
    stepped = oracle.step_down(z, permuted, False)[1]
    steps = oracle.step_quantiles(z, permuted, guard.claim_level * share) + penalty
    at = 0
    for (part, own), prepared in zip(family, found["prepared"], strict=True):
        part["C"] = prepared["C"]
        for rule in own:
            rule["t"], rule["df"] = found["t"][at], found["df"][at]
            rule["p"] = 2 * student.sf(abs(rule["t"]), rule["df"])
            rule["p_adjusted"] = min(1.0, stepped[at] / share)
            rule["difference"], rule["se"], low, high = oracle.interval(
                part["y"], rule["X"], rule["amounts"], part["C"], steps[at]
            )
            rule["interval"] = (low, high)
            at += 1


def _refit(part, rule, beside=(), keep=None, y=None, by="amounts"):
    """Generalised least squares of the raw outcome on nuisance, other columns, and the rule."""
    keep = np.ones(len(part["y"]), dtype=bool) if keep is None else keep
    y = part["y"] if y is None else y
    C = part["C"][np.ix_(keep, keep)]
    others = [oracle.centred(np.array(other))[keep] for other in beside]
    X = np.column_stack([rule["X"][keep], *others])
    X = X[:, _first_independent(X)]
    column = oracle.centred(rule[by])[keep]
    if np.linalg.matrix_rank(np.column_stack([X, column])) == X.shape[1]:
        return float("nan"), float("nan"), 0
    return oracle.regression(
        oracle.whiten(y[keep], C), oracle.whiten(X, C), oracle.whiten(column, C)
    )


def _first_independent(X):
    kept = []
    for at in range(X.shape[1]):
        if np.linalg.matrix_rank(X[:, [*kept, at]]) == len(kept) + 1:
            kept.append(at)
    return kept


# ---- what it may be called


def _may_be_told(part, rule, guard, passing):
    """Rules of two or three: past the claim level, and adding something beside every part."""
    if rule["p_adjusted"] > guard.claim_level:
        return False
    scores = oracle.normal_scores(part["y"])
    for other in _tested(part):
        if set(other["factors"]) < set(rule["factors"]):
            b, se, df = _refit(part, rule, [other["values"]], y=scores, by="values")
            if not 2 * student.sf(abs(b / se), df) <= guard.claim_level / passing:
                return False
    return True


def _correlation(one, other):
    both = [(a, b) for a, b in zip(one, other, strict=True) if not isnan(a) and not isnan(b)]
    first, second = np.array(both).T if both else (np.zeros(0), np.zeros(0))
    if len(set(first)) < 2 or len(set(second)) < 2:
        return 0.0
    return abs(float(np.corrcoef(first, second)[0, 1]))


def _described(part, rule, rules):
    guard = rules.guardrails
    out = {
        "counts": rule["counts"],
        "withheld": rule["withheld"],
        "travels_with": [],
        "evidence": "cannot_tell",
        "doubts": [],
        **_ratios(rule["counts"]),
    }
    if rule["withheld"] is not None:
        return out
    along = []
    for other in _tested(part):
        if len(other["factors"]) == 1 and other["factors"][0] not in rule["factors"]:
            phi = _correlation(rule["values"], other["values"])
            if phi >= guard.overlap_travels_with:
                along.append((-phi, other["factors"][0]))
            columns = [rule["values"]]
            if len(rule["factors"]) > 1:
                own = [(name,) for name in rule["factors"]]
                columns += [one["values"] for one in _tested(part) if one["factors"] in own]
            closest = max(_correlation(column, other["values"]) for column in columns)
            yields = set(rule["factors"]) & set(rules.factor(other["factors"][0]).yields_to)
            if closest >= guard.overlap_not_told_apart and not yields:
                out["withheld"] = "it came on the same days as"
    names = [name for _, name in sorted(along, key=lambda pair: pair[0])]
    out["travels_with"] = list(dict.fromkeys(names))
    worth = part["rule"].smallest_worth_it / rule["span"]
    spread, se = part["rule"].plausible_spread / rule["span"], rule["se"]
    out |= {name: rule[name] for name in ("shape", "span", "both")}
    out |= {key: rule[key] for key in ("difference", "se", "df", "p", "p_adjusted", "interval")}
    out["rule"] = out["settle"] = (part, rule, worth)
    if out["withheld"] is None:
        out["evidence"], out["doubts"] = _evidence(part, rule, worth, rules)
    if _rare(rule, guard):
        out["interval"] = _allowing_for_spread(part, rule)
    if "weekday" in out["doubts"]:
        out["interval"] = None
    if out["evidence"] in ("clear", "little_sign"):
        out["settle"] = None
    out["expected"], told = None, rule["difference"]
    if out["evidence"] == "clear" and spread >= guard.least_spread_in_errors * se:
        share = guard.share_that_matters
        out["expected"] = told = posterior_mean(rule["difference"], se, spread, rule["df"], share)
    out["small"] = out["evidence"] == "clear" and abs(told) < worth
    return out


def posterior_mean(difference, se, spread, df, share=1.0):
    """Mean of what is 0, or normal around 0, seen with an error of se times Student's t.

    By a grid; ``share`` is not 0.
    """
    grid = np.linspace(-12, 12, 48001) * spread
    step = grid[1] - grid[0]
    weight = student.pdf((difference - grid) / se, df) * norm.pdf(grid / spread) * step / spread
    none = student.pdf(difference / se, df)
    return share * (grid * weight).sum() / (share * weight.sum() + (1 - share) * none)


def _ratios(counts):
    known = counts["with"] + counts["without"]
    high = counts["with_high"] + counts["without_high"]
    support = counts["with_high"] / known if known else None
    confidence = counts["with_high"] / counts["with"] if counts["with"] else None
    lift = confidence / (high / known) if confidence is not None and high else None
    leverage = support - counts["with"] / known * high / known if known else None
    return {"support": support, "confidence": confidence, "lift": lift, "leverage": leverage}


def _evidence(part, rule, worth, rules):
    guard, difference = rules.guardrails, rule["difference"]
    reach = student.ppf(0.95, rule["df"]) * rule["se"]
    if rule["p_adjusted"] <= guard.claim_level:
        found = _doubts(part, rule, rules)
        return ("hint" if found else "clear"), found
    if -worth < difference - reach and difference + reach < worth:
        return "little_sign", []
    if rule["p"] <= guard.hint_level and abs(difference) >= worth:
        return "hint", []
    return "cannot_tell", []


def _doubts(part, rule, rules):
    guard, difference = rules.guardrails, rule["difference"]
    low, high = rule["interval"]
    one_side = (low > 0 and rule["t"] > 0) or (high < 0 and rule["t"] < 0)
    found = [] if one_side else ["order"]
    for at in range(len(part["y"])):
        keep = np.arange(len(part["y"])) != at
        left = _refit(part, rule, keep=keep)[0]
        if left / difference < 1 - guard.shrink_when_one_unit_left_out:
            found.append("one_day")
            break
    recorded = {name for factor in rule["factors"] for name in rules.factor(factor).confounders}
    for other in part["rules"]:
        name = other["factors"][0]
        if len(other["factors"]) == 1 and name in recorded and name not in rule["factors"]:
            counts = other["counts"]
            if counts["with"] and counts["without"]:
                left = _refit(part, rule, [other["amounts"]])[0]
                if not left / difference >= 0.5:
                    found.append("confounder")
    moved = any(part["rule"].window in rules.factor(f).moves_window for f in rule["factors"])
    if moved:
        keep = ~np.isnan(part["by_clock"])
        b, se, df = _refit(part, rule, keep=keep, y=part["by_clock"])
        if not (b * difference > 0 and 2 * student.sf(abs(b / se), df) <= guard.hint_level):
            found.append("clock")
    weekday = [(int(day) + 3) % 7 for day in part["times"]]
    if len(set(part["times"])) >= guard.weekdays_from_days:
        week = [[float(own == day) for own in weekday] for day in range(7)]
        b = _refit(part, rule, week)[0]
        p = _p(_refit(part, rule, week, y=oracle.normal_scores(part["y"]), by="values"))
        held = b / difference >= 0.5 and p <= guard.weekday_level_searched
        if _keeps_to(part, rule, week) and not held:
            found.append("weekday")
    if _rare(rule, guard):
        b, se, df = _hc3(part, rule, oracle.normal_scores(part["y"]), "values")
        low, high = _allowing_for_spread(part, rule)
        if 2 * student.sf(abs(b / se), df) > _level(rule) or low <= 0 <= high:
            found.append("unequal_spread")
    return found


def _keeps_to(part, rule, week):
    """The F test of the habit on the days of the week, beside the nuisance (Draper & Smith)."""
    column = oracle.whiten(oracle.centred(rule["values"]), part["C"])
    wide = np.column_stack([rule["X"], *(oracle.centred(np.array(day)) for day in week)])
    small, wide = (oracle.whiten(X[:, _first_independent(X)], part["C"]) for X in (rule["X"], wide))
    before, after = (float(np.sum(oracle.residual(column, X) ** 2)) for X in (small, wide))
    more, df = wide.shape[1] - small.shape[1], len(column) - wide.shape[1]
    if after < 1e-9 * before:
        return True
    return f_test.sf((before - after) / more / (after / df), more, df) <= 0.01


def _p(fit):
    b, se, df = fit
    return 2 * student.sf(abs(b / se), df) if df else 1.0


def _rare(rule, guard):
    counts = rule["counts"]
    share = counts["with"] / (counts["with"] + counts["without"])
    return min(share, 1 - share) < guard.unbalanced_share


def _level(rule):
    """The p of the |t| that the simultaneous interval spans, no less than a thousandth."""
    low, high = rule["interval"]
    return max(0.001, 2 * student.sf((high - low) / 2 / rule["se"], rule["df"]))


def _allowing_for_spread(part, rule):
    """The wider of the simultaneous interval and that of HC3 at the same p."""
    low, high = rule["interval"]
    _, se, df = _hc3(part, rule, part["y"], "amounts")
    half = max((high - low) / 2, student.isf(_level(rule) / 2, df) * se)
    return rule["difference"] - half, rule["difference"] + half


def _hc3(part, rule, y, by):
    """HC3 on whitened columns; degrees of freedom of Bell and McCaffrey, by their definition.

    With c the weights that give the coefficient and S the weights that give its estimated
    variance as a quadratic form y' S y in independent equal units: 2 E^2 / Var of that form.
    """
    X = oracle.whiten(np.column_stack([rule["X"], oracle.centred(rule[by])]), part["C"])
    y = oracle.whiten(np.asarray(y, dtype=float), part["C"])
    hat = X @ np.linalg.inv(X.T @ X) @ X.T
    weights = (np.linalg.inv(X.T @ X) @ X.T)[-1]
    rest = np.eye(len(y)) - hat
    form = rest @ np.diag(weights**2 / (1 - np.diag(hat)) ** 2) @ rest
    df = np.trace(form) ** 2 / np.trace(form @ form)
    return weights @ y, sqrt(y @ form @ y), df


def days_to_settle(answer, span, units, rules):
    """New days that by themselves find a difference worth acting on 80 times in 100."""
    if answer["settle"] is None:
        return None
    part, rule, worth = answer["settle"]
    guard, shape = rules.guardrails, rule["shape"]
    way = -1.0 if rule["difference"] < 0 else 1.0
    t = way * t_of(part, rule, way * worth)
    counts, had = rule["counts"], len(part["y"])
    known = np.sum(~np.isnan(rule["values"]))
    dose = shape == "dose"
    sides = (known / 2, known / 2) if dose else (counts["with"], counts["without"])
    least = 0 if dose else guard.fewest_units_each_side
    a_day = units / span
    new = np.arange(5, ceil(366 * a_day) + 1)
    found = _power_on_new(new, t, had, rule["df"], sides, guard.claim_level, least) >= 0.8
    return ceil(new[found.argmax()] / a_day) if found.any() else None


def t_of(part, rule, effect):
    """The t on normal scores that a true difference would have in place of what was measured."""
    habit = oracle.centred(rule["amounts"])
    base = part["y"] - rule["difference"] * habit
    fits = [
        _refit(part, rule, y=oracle.normal_scores(values), by="values")
        for values in (base, base + effect * habit)
    ]
    return (fits[1][0] / fits[1][1] - fits[0][0] / fits[0][1]) * (1 - 2 / max(rule["df"], 4))


def _power_on_new(units, t, had, df_had, sides, level, least):
    """Power of the one-sided t test on new units: scipy, over counts and over the scatter."""
    with_, without = sides
    rank = had - 1 - df_had
    directions = np.maximum(min(3, rank), np.ceil(rank * units / had))
    df = units - directions - 1
    known, share = units * (with_ + without) / had, with_ / (with_ + without)
    whole, enough = np.rint(known), np.ones(len(units))
    if least:
        few = sum(binom.cdf(least - 1, whole, p) for p in (share, 1 - share))
        enough = np.where(whole >= 2 * least, 1 - few, 0.0)
    possible = (df >= 1) & (enough > 0)
    units, directions, df, known = (one[possible] for one in (units, directions, df, known))
    old = with_ * without / (with_ + without) * (1 - rank / had)
    total = np.zeros(len(enough))
    for step, weight in ((-1, 1 / 6), (0, 2 / 3), (1, 1 / 6)):
        k = known * share + step * np.sqrt(3 * known * share * (1 - share))
        k = np.minimum(np.maximum(k, least), known - least)
        new = k * (known - k) / known * (1 - directions / units)
        reach = student.ppf(1 - level, df)
        total[possible] += weight * nct.sf(reach, df, max(t, 0.0) * np.sqrt(new / old))
    return enough * total
