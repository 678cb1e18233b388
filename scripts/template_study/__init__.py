"""How the template heads are made; run by ``scripts/build_template.py``, never by headfit.

The rooms, in the order in which a head passes through them:

* ``base_mesh``: an open body mesh (faces, ears, necks of several ages);
* ``average_mri``: the outer skin of an averaged whole-head MRI;
* ``vault``: a cranial vault as distances from a centre, and where it hands over to the face;
* ``warp``: the body mesh bent until its vault is that of the MRI;
* ``half_mesh`` and ``remesh``: the left half cleaned, remeshed, capped at the neck, mirrored;
* ``tape``: circumference, length and breadth, to scale a head;
* ``ages`` and ``heads``: the children, the head frame, parts and landmarks.

Unit: mm. Until ``heads`` moves them into the head frame, all points are in the *study frame*:
origin inside the head, +x right, +y front, +z up, x = 0 the plane of symmetry.

Two machines must come to the same mesh, while the last bit of a floating-point sum differs
between them. So positions are settled on a grid of 1e-4 mm wherever one stage hands over to
the next, and lengths and angles are rounded before they are sorted, ties by number: otherwise
such a bit decides which of two equally long edges is split first, and a different mesh results.
"""
