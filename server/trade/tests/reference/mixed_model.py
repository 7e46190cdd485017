"""Writes the mixed-model fixtures: simulated records, and what statsmodels makes of them.

Run: python mixed_model.py   (statsmodels, numpy, pandas; versions are written into the output)

clean.csv        records whose log ratio is intercept + site + crew + noise
clean_fit.csv    MixedLM (REML) on them: variances, intercept, predicted random effects
spoilt.csv       the same with 4 % absurd records, and a column of truths on a new visit
spoilt_fit.csv   MixedLM's prediction of each (site, crew) pair on the spoilt records
"""
import numpy as np
import pandas as pd
import statsmodels
import statsmodels.formula.api as smf

rng = np.random.default_rng(20270412)
SITES, CREWS, VISITS = 30, 6, 420
site_effect = rng.normal(0.0, 0.20, SITES)
crew_effect = rng.normal(0.0, 0.10, CREWS)
site = rng.integers(0, SITES, VISITS)
crew = rng.integers(0, CREWS, VISITS)
y = 0.08 + site_effect[site] + crew_effect[crew] + rng.normal(0.0, 0.25, VISITS)
frame = pd.DataFrame({"site": site, "crew": crew, "log_ratio": y, "all": 1})


def fit(data):
    model = smf.mixedlm(
        "log_ratio ~ 1", data, groups="all",
        vc_formula={"crew": "0 + C(crew)", "site": "0 + C(site)"},
    )
    result = model.fit(reml=True, method="lbfgs", maxiter=2000, gtol=1e-10)
    effects = result.random_effects[1]
    variances = dict(zip(model.exog_vc.names, result.vcomp))
    return result, effects, variances


def effects_of(effects, name, count):
    return [float(effects[f"{name}[C({name})[{i}]]"]) for i in range(count)]


VERSION = f"# statsmodels {statsmodels.__version__}, numpy {np.__version__}\n"


def write(name, rows, header):
    with open(name, "w") as out:
        out.write(VERSION)
        out.write(header + "\n")
        for row in rows:
            out.write(",".join(repr(v) if isinstance(v, float) else str(v) for v in row) + "\n")


write("clean.csv", [(int(s), int(c), float(v)) for s, c, v in zip(site, crew, y)], "site,crew,log_ratio")
result, effects, variances = fit(frame)
rows = [("variance", "0", float(variances["site"])), ("variance", "1", float(variances["crew"])),
        ("variance", "2", float(result.scale)), ("intercept", "0", float(result.fe_params.iloc[0]))]
rows += [("site", str(i), v) for i, v in enumerate(effects_of(effects, "site", SITES))]
rows += [("crew", str(i), v) for i, v in enumerate(effects_of(effects, "crew", CREWS))]
write("clean_fit.csv", rows, "what,key,value")

spoilt = frame.copy()
absurd = rng.choice(VISITS, size=VISITS // 25, replace=False)
spoilt.loc[absurd, "log_ratio"] = np.log(rng.choice([0.02, 10.0, 30.0], size=len(absurd)))
write("spoilt.csv", [(int(s), int(c), float(v)) for s, c, v in
                     zip(spoilt["site"], spoilt["crew"], spoilt["log_ratio"])], "site,crew,log_ratio")
result, effects, variances = fit(spoilt)
se, ce = effects_of(effects, "site", SITES), effects_of(effects, "crew", CREWS)
base = float(result.fe_params.iloc[0])
write("spoilt_fit.csv",
      [(s, c, base + se[s] + ce[c], float(0.08 + site_effect[s] + crew_effect[c]))
       for s in range(SITES) for c in range(CREWS)],
      "site,crew,predicted,truth")
