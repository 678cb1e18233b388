"""What hides what in a line drawing, on a ball."""

import numpy as np
import trimesh

from headfit.output.drawing import Projection, Skyline

RADIUS_MM = 90.0


def test_the_near_skin_of_a_ball_hides_the_far_one_from_every_side() -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=RADIUS_MM)
    for viewer in ((-1.0, 0.0, 0.25), (0.0, 1.0, 0.0), (1.0, -1.0, 1.0)):
        project = Projection.toward(viewer, (0.0, 0.0, 1.0))
        skyline = Skyline(project(np.asarray(ball.vertices)), np.asarray(ball.faces))
        # Closed form: over the middle of the picture the skin is one radius nearer than the centre.
        near = RADIUS_MM * np.asarray(viewer) / np.linalg.norm(viewer)
        seen = skyline.sees(project(np.array([1.01 * near, near, 0.5 * near, 0.0 * near, -near])))
        assert seen.tolist() == [True, True, False, False, False]
