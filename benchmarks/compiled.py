"""The same problems by a compiled general-purpose finite-element library, NGSolve, on the same triangles.

A sheet is solved on the triangles themselves, layers on the prisms over them: quadratic both ways, as the product's functions, or
linear on prisms of half the size each way. A joint is a layer of prisms that conducts through its thickness alone, which is exact;
quadratic, it has one more level of unknowns.
"""

from dataclasses import dataclass

import numpy as np

from plancha.geometry.bodies import Stack
from plancha.geometry.mesh import PlanMesh, inside

JOINT = 0.1e-3  # m, of the layer that stands for a joint
# Degrees, by the functions', more than it takes by itself: so prisms of linear functions are integrated exactly too.
BONUS = {1: 2, 2: 0}
TIGHT = 1e-12  # of the preconditioned residual, which leaves about 1e-10 of the right side's norm


@dataclass(frozen=True)
class Found:
    """What it found: unknowns, steps, share of the right side's norm that is left, peak rise [K] at corners of triangles."""

    unknowns: int
    steps: int
    residual: float
    peak: float


def sheet_mesh(mesh: PlanMesh):
    """The triangles as the library's mesh."""
    from netgen.meshing import FaceDescriptor, Mesh
    from ngsolve import Mesh as Wrapped

    made = Mesh(dim=2)
    made.AddPoints(np.column_stack([mesh.points, np.zeros(len(mesh.points))]))
    made.Add(FaceDescriptor(surfnr=1, domin=1, bc=1))
    made.AddElements(dim=2, index=1, data=mesh.triangles.astype(np.int32), base=0)
    return Wrapped(made)


def layered_mesh(mesh: PlanMesh, stack: Stack, cut: int):
    """Prisms over the triangles of two bodies, each cut into so many layers, and of the joint between them, the first body's face at
    z = 0."""
    from netgen.meshing import FaceDescriptor, Mesh
    from ngsolve import Mesh as Wrapped

    upper, lower = (mesh.triangles[inside(mesh, body.outline)].astype(np.int32) for body in stack.bodies)
    first, last = (body.thickness for body in stack.bodies)
    steps = [first / cut] * cut + [JOINT] + [last / cut] * cut
    made, count = Mesh(dim=3), len(mesh.points)
    for z in np.cumsum([0.0, *steps]):
        made.AddPoints(np.column_stack([mesh.points, np.full(count, z)]))
    made.Add(FaceDescriptor(surfnr=1, domin=1, bc=1))
    made.Add(FaceDescriptor(surfnr=2, domin=3, bc=2))
    for number, name in enumerate(("heated", "cooled")):
        made.SetBCName(number, name)
    for index in (1, 2, 3):
        made.SetMaterial(index, str(index))
    for level in range(len(steps)):
        index, triangles = (1, upper) if level < cut else (2, upper) if level == cut else (3, lower)
        prisms = np.hstack([triangles + level * count, triangles + (level + 1) * count])
        made.AddElements(dim=3, index=index, data=prisms, base=0)
    made.AddElements(dim=2, index=1, data=upper, base=0)
    made.AddElements(dim=2, index=2, data=lower + len(steps) * count, base=0)
    made.Compress()
    return Wrapped(made)


def heating(stack: Stack):
    """Heat per area [W/m2] over the plan."""
    from ngsolve import IfPos, VoxelCoefficient, x, y

    source = stack.sources[0]
    left, bottom, right, top = source.outline.bounds
    if source.power_map is None:
        within = IfPos((x - left) * (right - x), IfPos((y - bottom) * (top - y), 1, 0), 0)
        return source.power / source.outline.area * within
    watts = np.asarray(source.power_map.watts)
    density = watts * watts.size / source.outline.area
    return VoxelCoefficient((left, bottom, -1.0), (right, top, 1.0), density[None], linear=False)


def solved(mesh, stack: Stack, way: str, order: int) -> Found:
    """Assembly and solution: ``way`` is "direct", or the preconditioner of conjugate gradients; ``order`` the functions'."""
    import ngsolve as ng

    space = ng.H1(mesh, order=order)
    u, v = space.TnT()
    form, load = ng.BilinearForm(space, symmetric=True), ng.LinearForm(space)
    film, bonus = float(stack.films[0].coefficient), {"bonus_intorder": BONUS[order]}
    if mesh.dim == 2:
        body = stack.bodies[0]
        k = body.material.conductivity[0] * body.thickness
        form += (k * ng.grad(u) * ng.grad(v) + film * u * v) * ng.dx(**bonus)
        load += heating(stack) * v * ng.dx(**bonus)
    else:
        die, plate = (body.material.conductivity[0] for body in stack.bodies)
        along, through = (die, 0.0, plate), (die, JOINT / stack.joints[0].impedance, plate)
        k_xy, k_z = (mesh.MaterialCF(dict(zip("123", each))) for each in (along, through))
        one, other = ng.grad(u), ng.grad(v)
        form += (k_xy * (one[0] * other[0] + one[1] * other[1]) + k_z * one[2] * other[2]) * ng.dx(**bonus)
        form += film * u * v * ng.ds("cooled", **bonus)
        load += heating(stack) * v * ng.ds("heated", **bonus)
    eased = None if way == "direct" else ng.Preconditioner(form, way)
    form.Assemble()
    load.Assemble()
    rise, steps = ng.GridFunction(space), 1
    if eased is None:
        rise.vec.data = form.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * load.vec
    else:
        iterate = ng.krylovspace.CGSolver(form.mat, eased.mat, tol=TIGHT, maxiter=500)
        rise.vec.data = iterate * load.vec
        steps = iterate.iterations
    left = load.vec.CreateVector()
    left.data = load.vec - form.mat * rise.vec
    peak = float(rise.vec.FV().NumPy()[: mesh.nv].max())
    return Found(space.ndof, steps, float(ng.Norm(left) / ng.Norm(load.vec)), peak)
