import numpy as np
import pytest
from scipy import integrate, stats

from miner.stats.multiplicity import evidence, units_needed


def by_integration(t, df, inner, scale):
    """The ratio from its definition: half-normal effects in SD, scatter with prior 1/sigma."""
    m = df + 1

    def marginal(effect):
        def density(log_sd):
            sd = np.exp(log_sd)
            miss = (t - effect * sd * np.sqrt(inner)) ** 2
            return np.exp(-m * log_sd - 0.5 * (df + miss) / sd**2)

        return integrate.quad(density, -6, 8, limit=400)[0]

    with_effect = integrate.quad(
        lambda effect: 2 * stats.norm.pdf(effect, 0, scale) * marginal(effect), 0, 8 * scale
    )[0]
    return with_effect / marginal(0.0)


@pytest.mark.parametrize(
    ("t", "df", "inner", "scale"),
    [(2, 10, 4, 0.8), (-1, 10, 4, 0.8), (4, 20, 6, 0.5), (0, 5, 1, 1)],
)
def test_against_the_integral_it_stands_for(t, df, inner, scale):
    # Lai 1976; Perez-Ortiz et al. 2024: the likelihood ratio under the invariant prior.
    assert evidence(t, df, inner, scale) == pytest.approx(
        by_integration(t, df, inner, scale), rel=1e-5
    )


def looks(values, habit, scale):
    """The evidence value after each day, mean taken out."""
    out = []
    for n in range(4, len(values) + 1):
        x = habit[:n] - habit[:n].mean()
        y = values[:n] - values[:n].mean()
        inner = float(x @ x)
        if inner < 1e-9:
            continue
        slope = x @ y / inner
        df = n - 2
        rest = y - slope * x
        t = slope / np.sqrt(rest @ rest / df / inner)
        out.append(evidence(t, df, inner, scale))
    return np.array(out)


def test_looking_every_day_for_ninety_days_errs_at_most_five_times_in_a_hundred():
    # Ville 1939: the chance to reach 20 at any look is at most 1/20.
    rng = np.random.default_rng(11)
    reached = []
    for _ in range(800):
        found = looks(rng.normal(size=90), (rng.random(90) < 0.3).astype(float), 0.8)
        reached.append(found.max() >= 20)
    assert 0 < np.mean(reached) <= 0.05


def test_its_average_is_one_where_nothing_is_true():
    rng = np.random.default_rng(5)
    df, inner = 20, 5.0
    values = [evidence(t, df, inner, 0.5) for t in rng.standard_t(df, 20_000)]
    assert np.mean(values) == pytest.approx(1, abs=4 * np.std(values) / np.sqrt(20_000))


def test_an_effect_is_found_and_the_other_direction_is_not():
    rng = np.random.default_rng(6)
    habit = (rng.random(90) < 0.4).astype(float)
    assert looks(rng.normal(size=90) + 1.5 * habit, habit, 1.0).max() > 20
    assert looks(rng.normal(size=90) - 1.5 * habit, habit, 1.0).max() < 20


def test_the_price_of_looking_every_day_by_simulation():
    effect, share = 1.5, 0.4
    one, every = units_needed(effect, share * (1 - share), scale=1.0, level=0.05, nuisance=1)
    assert one < every
    rng = np.random.default_rng(9)
    found = []
    for _ in range(300):
        habit = (rng.random(every) < share).astype(float)
        found.append(looks(rng.normal(size=every) + effect * habit, habit, 1.0)[-1] >= 20)
    assert np.mean(found) == pytest.approx(0.8, abs=0.08)
    assert units_needed(0.01, 0.2, scale=1, level=0.05, nuisance=1) == (None, None)


def test_what_is_not_defined_says_so():
    assert np.isnan(evidence(np.nan, 10, 4, 1))
    assert np.isnan(evidence(1, 0, 4, 1))
    assert np.isnan(evidence(1, 10, 0, 1))
