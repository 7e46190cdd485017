"""Mean time between failures by lifelines' exponential fit, the last run cut short.

Makes reliability.csv: hours run in all, failures, and the fitted mean. Run: python reliability.py > reliability.csv
"""

import random

import lifelines

print(f"# lifelines {lifelines.__version__}, ExponentialFitter")
print("operated_hours,failures,mean_hours")
chance = random.Random(7)
for mean in (20, 75, 300):
    for count in (1, 2, 5, 20, 100):
        runs = [chance.expovariate(1 / mean) for _ in range(count)]
        last = chance.uniform(0, mean)
        fit = lifelines.ExponentialFitter()
        fit.fit(runs + [last], event_observed=[1] * count + [0])
        print(f"{sum(runs) + last:.12f},{count},{fit.lambda_:.12f}")
