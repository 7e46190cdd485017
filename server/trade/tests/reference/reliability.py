"""Mean times between failures and to repair by lifelines' exponential fit.

Makes reliability.csv: hours run in all, the last run cut short, failures, and the fitted mean; and repairs.csv: hours out
in all, repairs that ended, and the fitted mean. Run: python reliability.py > reliability.csv, and
python reliability.py repairs > repairs.csv
"""

import random
import sys

import lifelines

print(f"# lifelines {lifelines.__version__}, ExponentialFitter")
repairs = sys.argv[1:] == ["repairs"]
print("out_hours,repairs,mean_hours" if repairs else "operated_hours,failures,mean_hours")
chance = random.Random(7)
for mean in (20, 75, 300):
    for count in (1, 2, 5, 20, 100):
        runs = [chance.expovariate(1 / mean) for _ in range(count)]
        last = chance.uniform(0, mean)
        fit = lifelines.ExponentialFitter()
        if repairs:
            if count == 1:
                continue  # the library does not fit a single value
            fit.fit(runs)
            print(f"{sum(runs):.12f},{count},{fit.lambda_:.12f}")
        else:
            fit.fit(runs + [last], event_observed=[1] * count + [0])
            print(f"{sum(runs) + last:.12f},{count},{fit.lambda_:.12f}")
