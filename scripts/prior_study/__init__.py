"""How the head-shape prior is made; run by ``scripts/build_prior``, never by headfit.

The rooms, in the order in which the data pass through them:

* ``extract``: marks of 83 digitised people and skins of 16 scanned heads, as committed;
* ``matching``: the deformable head laid on one person or skin, and what that one says of the shape;
* ``pooling``: all of them together, what is general apart from the habits of a laboratory;
* ``leftover``: what the shape modes cannot draw of the skins, as fields over the template;
* ``left_out``: how well heads are found by a prior that has not seen their set;
* ``pictures``: the mean head and its largest directions, to be looked at.

Unit: mm. Shapes are the parameters of `headfit.fitting.shape`, in their order. A set is one source
of data: four digitised sets and the scanned vaults.
"""
