"""How well the fit does what it says; run by ``scripts/bench_fit`` and ``scripts/build_prior``.

* ``scores``: sheets, heads whose sites are known, errors and rings;
* ``calibration``: where the truth ranks among draws of what a fit leaves open;
* ``promises``: what advice says a measurement would bring, and what it brought.
"""
