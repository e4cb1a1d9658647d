"""The test of one client's record in its slowest and plainest form, to compare the engine with.

Written from the description of the method, not from the engine: loops over units, rules and
shuffles, explicit inverses, no trick. Shapes: k known units of an outcome, N units in all, m rules,
p nuisance columns (the intercept is one of them), B shuffles.

One outcome is a dict:

    y       (k,)    the outcome in its known units, in time order
    times   (k,)    when they were (days; may be equal, as meals of one day are)
    X       (k, p)  nuisance columns, intercept included, none a combination of the others
    rules   (k, m)  1 yes, 0 no, NaN unknown
    known   (k,)    which of the N units they are, ascending

*The induced permutation.* One shuffle of all N units serves every outcome, so that outcomes stay
tied together as they are. A shuffle is an array ``order`` of length N: place i gets unit order[i].
An outcome known only in the units K sees the order in which K's members come up in it, the others
struck out: for K = {0, 2, 3} and order (3, 1, 0, 2) that is 3, 0, 2; its first known unit gets the
residual of unit 3, its second that of unit 0, its third that of unit 2. If every order of the N is
equally likely, so is every order of K's members.

*P-values.* Shuffles drawn at random: the order as it was counts as one more draw, so
p = (1 + number as large) / (B + 1). All orders listed, the one as it was among them:
p = number as large / B. "As large" forgives a rounding error of 1e-9.
"""

from __future__ import annotations

from math import ceil, log, pi, sqrt

import numpy as np
from scipy.stats import norm
from scipy.stats import t as student

SLACK = 1e-9


def normal_scores(y):
    """Step 2: Phi^-1((rank - 3/8) / (n + 1/4)), average ranks for ties."""
    n = len(y)
    scores = []
    for value in y:
        below = sum(1 for other in y if other < value)
        same = sum(1 for other in y if other == value)
        rank = below + (same + 1) / 2
        scores.append(norm.ppf((rank - 3 / 8) / (n + 1 / 4)))
    return np.array(scores)


def centred(rule):
    """Step 3: the rule less its mean over the known units; an unknown unit carries 0."""
    known = [value for value in rule if not np.isnan(value)]
    mean = sum(known) / len(known)
    return np.array([0.0 if np.isnan(value) else value - mean for value in rule])


def residual(values, X):
    """Step 5: what is left of a column beside the nuisance."""
    coefficients = np.linalg.lstsq(X, values, rcond=None)[0]
    return values - X @ coefficients


def kept(rule, X):
    """Step 5: the share of a rule's variation that is left beside the nuisance."""
    column = centred(rule)
    left = residual(column, X)
    return sum(left**2) / sum(column**2)


def correlation(times, phi, w):
    """Step 6: w phi^|t_i - t_j| between units, 1 of a unit with itself (phi^0 is 1, also of 0)."""
    times = np.array(times, dtype=float)
    C = w * phi ** np.abs(times[:, None] - times)
    np.fill_diagonal(C, 1.0)
    return C


def reml_loglik(y, X, C):
    """Step 6: restricted log-likelihood of y ~ N(X b, s2 C), b integrated out, s2 at its best.

    With P = C^-1 - C^-1 X (X' C^-1 X)^-1 X' C^-1 and s2 = y' P y / (n - p):
    -1/2 [(n - p) (log(2 pi s2) + 1) + log|C| + log|X' C^-1 X|].
    The term 1/2 log|X'X|, which some add, is the same for every C and is left out.
    Source: Patterson and Thompson 1971, Biometrika 58:545; Harville 1974, Biometrika 61:383.
    """
    n, p = X.shape
    inverse = np.linalg.inv(C)
    information = X.T @ inverse @ X
    P = inverse - inverse @ X @ np.linalg.inv(information) @ X.T @ inverse
    s2 = float(y @ P @ y) / (n - p)
    log_c, log_information = np.linalg.slogdet(C)[1], np.linalg.slogdet(information)[1]
    return -0.5 * ((n - p) * (log(2 * pi * s2) + 1) + log_c + log_information)


def fit(y, X, times, grid):
    """Step 6: the (w, phi) of the grid with the largest likelihood; of equals the first."""
    best = None
    for w, phi in grid:
        C = correlation(times, phi, w)
        value = reml_loglik(y, X, C)
        if best is None or value > best["loglik"]:
            best = {"w": w, "phi": phi, "loglik": value, "C": C}
    return best


def whiten(values, C):
    """Step 6: L^-1 values, with L L' = C."""
    return np.linalg.solve(np.linalg.cholesky(C), values)


def regression(y, X, column):
    """Least squares of y on X and one more column: its coefficient, standard error and df."""
    wide = np.column_stack([X, column])
    n, p = wide.shape
    inverse = np.linalg.inv(wide.T @ wide)
    coefficients = inverse @ wide.T @ y
    rest = y - wide @ coefficients
    df = n - p
    s2 = float(rest @ rest) / df
    return coefficients[-1], sqrt(s2 * inverse[-1, -1]), df


def z_of_t(t, df):
    """Step 7: the normal quantile of the same tail, so that outcomes can be compared."""
    size = norm.isf(student.sf(abs(t), df))
    return size if t >= 0 else -size


def t_of_z(z, df):
    """The t of the same tail as z: the way back."""
    return student.isf(norm.sf(z), df)


def induced(order, known):
    """The order in which the known units come up in a shuffle of all, as places among them."""
    place = {int(unit): position for position, unit in enumerate(known)}
    return [place[int(unit)] for unit in order if int(unit) in place]


def prepare(outcome, grid, scores=True):
    """Steps 2 to 6 of one outcome: scores, covariance, and everything whitened by it.

    Where the outcome has ``all_X``, the covariance is that beside all of it: X is what is left for
    rules that are made from the rest.
    """
    y = normal_scores(outcome["y"]) if scores else np.asarray(outcome["y"], dtype=float)
    found = fit(y, outcome.get("all_X", outcome["X"]), outcome["times"], grid)
    C = found["C"]
    columns = [whiten(centred(rule), C) for rule in np.asarray(outcome["rules"], dtype=float).T]
    return {"y": whiten(y, C), "X": whiten(outcome["X"], C), "columns": columns, **found}


def t_values(y, X, columns):
    """Step 7: t and df of every rule, each alone beside the nuisance."""
    found = [regression(y, X, column) for column in columns]
    return [b / se for b, se, _ in found], [df for _, _, df in found]


def permuted_z(prepared, known, permutations):
    """Step 7 by Freedman and Lane: fitted nuisance plus shuffled residuals, analysed anew."""
    rest = residual(prepared["y"], prepared["X"])
    fitted = prepared["y"] - rest
    rows = []
    for order in permutations:
        shuffled = fitted + rest[induced(order, known)]
        t, df = t_values(shuffled, prepared["X"], prepared["columns"])
        rows.append([z_of_t(value, freedom) for value, freedom in zip(t, df, strict=True)])
    return np.array(rows)


def step_down(observed, permuted, complete=False):
    """Step 7: single-step and step-down max-statistic p-values.

    ``observed`` (m,) and ``permuted`` (B, m) are sizes: larger is stronger, whatever the sign.
    Single step: against the largest of all m. Step-down: the strongest against the largest of all,
    the next against the largest of all but the strongest, and so on; never below the one before.
    Source: Westfall and Young 1993, Resampling-Based Multiple Testing, algorithm 4.1.
    """
    m, extra = len(observed), 0 if complete else 1

    def p_value(value, rules):
        as_large = sum(1 for row in permuted if max(row[r] for r in rules) >= value - SLACK)
        return (extra + as_large) / (extra + len(permuted))

    single = [p_value(value, range(m)) for value in observed]
    order = sorted(range(m), key=lambda rule: -observed[rule])
    stepped, before = [0.0] * m, 0.0
    for position, rule in enumerate(order):
        before = max(before, p_value(observed[rule], order[position:]))
        stepped[rule] = before
    return np.array(single), np.array(stepped)


def maxt(outcomes, permutations, grid, scores=True, complete=False):
    """Steps 2 to 7 for all rules of all outcomes, in the order given, as one family.

    Returns t, df, z, p_single and p_stepdown, each (rules of all outcomes,); permuted (B, rules),
    the |z| of each shuffle; and per outcome what ``prepare`` found.
    """
    t, df, blocks, found = [], [], [], []
    for outcome in outcomes:
        prepared = prepare(outcome, grid, scores)
        t_here, df_here = t_values(prepared["y"], prepared["X"], prepared["columns"])
        t, df = t + t_here, df + df_here
        blocks.append(permuted_z(prepared, outcome["known"], permutations))
        found.append(prepared)
    z = np.array([z_of_t(value, freedom) for value, freedom in zip(t, df, strict=True)])
    permuted = np.abs(np.column_stack(blocks))
    single, stepped = step_down(np.abs(z), permuted, complete)
    return {
        "t": np.array(t),
        "df": np.array(df),
        "z": z,
        "p_single": single,
        "p_stepdown": stepped,
        "permuted": permuted,
        "prepared": found,
    }


def family_quantile(max_z, level=0.05):
    """Step 9: the ceil((1 - level)(B + 1))-th smallest max |z|; beyond it p is at most level."""
    place = ceil((1 - level) * (len(max_z) + 1) - SLACK)
    return sorted(max_z)[place - 1] if place <= len(max_z) else np.inf


def step_quantiles(observed, permuted, level=0.05):
    """Step 9: for each rule the quantile that the rules left at its own step pass.

    The strongest: of the largest of all; the next: of the largest of all but the strongest; and so
    on down to the first that does not pass its own, which all later ones share.
    """
    order = sorted(range(len(observed)), key=lambda rule: -observed[rule])
    found = np.zeros(len(observed))
    for position, rule in enumerate(order):
        left = order[position:]
        q = family_quantile([max(row[other] for other in left) for row in permuted], level)
        found[rule] = q
        if not observed[rule] > q:
            found[left] = q
            break
    return found


def interval(y, X, rule, C, q):
    """Step 9: difference on the raw scale beside the nuisance, and its simultaneous interval.

    q is on the z scale; the standard error has df degrees of freedom, so it is multiplied by the t
    of the same tail. Returns difference, standard error, low, high.
    """
    difference, se, df = regression(
        whiten(np.asarray(y, dtype=float), C), whiten(X, C), whiten(centred(rule), C)
    )
    half = t_of_z(q, df) * se
    return difference, se, difference - half, difference + half
