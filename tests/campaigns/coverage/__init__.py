"""The coverage campaign: do 95 % intervals cover the truth 95 times in a hundred?

Random units on random benches are measured by the trials' own procedures; every figure is
compared with `simulated_bench.truth`. See DEVELOPERS.md, "The coverage campaign".
"""
