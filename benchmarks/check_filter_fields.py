"""Round-rod filters by the field alone: Maxwell's equations on a grid, beside the coupled-line model that drew them.

    python benchmarks/check_filter_fields.py                        the filters of CASES, one to five minutes each
    python benchmarks/check_filter_fields.py cell=0.75 2320-3       one of them, on finer cells (millimetres)

Theory  Finite differences in time on Yee's grid (K. Yee 1966); faces and edges that a round rod cuts keep their open
        part (S. Dey and R. Mittra 1997), both from memory. Box, rods, screws and posts are perfect metal; each port is
        50 ohm between the post's foot and the plate. A pulse goes in at port 1 and the field rings out.
Source  own computation, without anything of chain/filters but the dimensions.
Holds   Cells of about a millimetre: frequencies to about 1 %, widths to about 5 %. Metal without loss.
"""

import itertools
import sys
import time
from dataclasses import replace

import numba
import numpy as np
from scipy.constants import epsilon_0, mu_0, speed_of_light

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import CoupledFilter, coupled_scattering
from tepui.chain.filters.rod_design import design_rods, shape_of
from tepui.chain.filters.rod_line import rod_scattering
from tepui.evidence.filter_extraction import extract
from tepui.evidence.filter_model import Sweep

POST_SIDE = 1.1 / 1.3  # a square of this side has the inductance of the round post, 0.59 of the side for the radius
LEAST_OPEN = 0.3  # a cut face is taken for no smaller than this part, for stability
COURANT = 0.7
CASES = {
    "1296-3": (1296e6, 30e6, 3, "interdigital", 8e-3, 25e-3),
    "1296-4": (1296e6, 40e6, 4, "interdigital", 8e-3, 25e-3),
    "2320-3": (2320e6, 60e6, 3, "interdigital", 8e-3, 25e-3),
    "1255-5": (1255e6, 60e6, 5, "interdigital", 8e-3, 25e-3),
    "437-3": (437e6, 12e6, 3, "interdigital", 10e-3, 30e-3),
    "1296-3-combline": (1296e6, 30e6, 3, "combline", 8e-3, 25e-3),
}


def lines(marks, cell, least):
    """Grid lines through all marks that lie apart, at most ``cell`` from one to the next."""
    kept = [marks[0][0]]
    rank = sorted(marks, key=lambda m: m[1])
    chosen = []
    for place, _, size in rank:
        if all(abs(place - other) > least for other, _ in chosen):
            chosen.append((place, size))
    chosen.sort()
    kept = [chosen[0][0]]
    for (low, one), (high, two) in itertools.pairwise(chosen):
        begin, end = one or cell, two or cell
        spots, at = [low], low
        while at < high:
            step = min(begin * 1.35 ** (len(spots) - 1), cell)
            left = high - at
            step = min(step, max(end, 0.35 * left + 0.65 * end))
            at += step
            spots.append(at)
        count = max(1, len(spots) - 1)
        spots = np.array(spots)
        spots = low + (spots - low) * (high - low) / (spots[count] - low)
        kept += list(spots[1:])
    return np.array(kept)


def circle_parts(x, z, centre, middle, radius):
    """Open parts of x edges, z edges, faces and nodes about a disc, by fine sampling. Shapes as x and z give."""

    def open_line(a, b, other):
        """Part of a segment from a to b, ``other`` away sideways, outside the circle."""
        half = np.sqrt(np.maximum(radius**2 - other**2, 0))
        covered = np.maximum(np.minimum(b, half) - np.maximum(a, -half), 0)
        return 1 - covered / (b - a)

    fx = open_line((x[:-1] - centre)[None, :], (x[1:] - centre)[None, :], (z - middle)[:, None])
    fz = open_line((z[:-1] - middle)[:, None], (z[1:] - middle)[:, None], (x - centre)[None, :])
    share = (np.arange(20) + 0.5) / 20
    xs = x[:-1, None] + np.diff(x)[:, None] * share - centre
    zs = z[:-1, None] + np.diff(z)[:, None] * share - middle
    out = (xs[None, :, None, :] ** 2 + zs[:, None, :, None] ** 2) > radius**2
    inside = ((x - centre)[None, :] ** 2 + (z - middle)[:, None] ** 2) < radius**2 * (1 - 1e-9)
    return fx, fz, out.mean(axis=(2, 3)), inside


@numba.njit(fastmath=True, cache=True)
def march(ex, ey, ez, hx, hy, hz, cx, cy, cz, lx, lz, ly, ax, ay, az, dz, dxd, dyd, dzd,  # noqa: PLR0917
          steps, dt, eps, port, sigma_port, drive, out):  # fmt: skip
    nz, ny, nx = ex.shape[0] - 1, ey.shape[1], ez.shape[2] - 1
    for n in range(steps):
        for k in range(nz):
            for j in range(ny):
                for i in range(nx + 1):
                    hx[k, j, i] -= ax[k, j, i] * (
                        ez[k, j + 1, i] * lz[k, j + 1, i]
                        - ez[k, j, i] * lz[k, j, i]
                        - (ey[k + 1, j, i] * ly[k + 1, j, i] - ey[k, j, i] * ly[k, j, i])
                    )
        for k in range(nz):
            for j in range(ny + 1):
                for i in range(nx):
                    hy[k, j, i] -= ay[k, j, i] * (
                        ex[k + 1, j, i] * lx[k + 1, j, i]
                        - ex[k, j, i] * lx[k, j, i]
                        - (ez[k, j, i + 1] * lz[k, j, i + 1] - ez[k, j, i] * lz[k, j, i])
                    )
        for k in range(nz + 1):
            for j in range(ny):
                for i in range(nx):
                    hz[k, j, i] -= az[k, j, i] * (
                        ey[k, j, i + 1] * ly[k, j, i + 1]
                        - ey[k, j, i] * ly[k, j, i]
                        - (ex[k, j + 1, i] * lx[k, j + 1, i] - ex[k, j, i] * lx[k, j, i])
                    )
        for k in range(1, nz):
            for j in range(1, ny):
                for i in range(nx):
                    ex[k, j, i] += cx[k, j, i] * (
                        (hz[k, j, i] - hz[k, j - 1, i]) * dyd[j] - (hy[k, j, i] - hy[k - 1, j, i]) * dzd[k]
                    )
        for k in range(1, nz):
            for j in range(ny):
                for i in range(1, nx):
                    ey[k, j, i] += cy[k, j, i] * (
                        (hx[k, j, i] - hx[k - 1, j, i]) * dzd[k] - (hz[k, j, i] - hz[k, j, i - 1]) * dxd[i]
                    )
        for k in range(nz):
            for j in range(1, ny):
                for i in range(1, nx):
                    ez[k, j, i] += cz[k, j, i] * (
                        (hy[k, j, i] - hy[k, j, i - 1]) * dxd[i] - (hx[k, j, i] - hx[k, j - 1, i]) * dyd[j]
                    )
        for p in range(2):
            share = sigma_port[p] * dt / (2 * eps)
            total = np.float32(0)
            for m in range(port.shape[1]):
                j, i = port[p, m, 0], port[p, m, 1]
                if j < 0:
                    continue
                curl = (hy[0, j, i] - hy[0, j, i - 1]) * dxd[i] - (hx[0, j, i] - hx[0, j - 1, i]) * dyd[j]
                before = ez[0, j, i] - dt / eps * curl
                push = drive[n] / dz[0] * sigma_port[p] if p == 0 else np.float32(0)
                now = (before * (1 - share) + dt / eps * (curl + push)) / (1 + share)
                ez[0, j, i] = now
                total += now * dz[0] * port[p, m, 2] * 1e-6
            out[n, p] = total


def field_response(box, depths_m, f, *, cell, time_s):
    """S11 and S21 of a box by its field. (n_f,), (n_f,)"""
    top, high, wide, radius = box.box_length_m, box.plates_m, box.width_m, box.diameter_m / 2
    side = POST_SIDE * 1.3e-3 / 2
    fine = 0.5 * cell
    ends = [0, box.poles - 1]
    tap_y = [box.taps_m[n != 0] if box.from_bottom[rod] else top - box.taps_m[n != 0] for n, rod in enumerate(ends)]
    xm = [(0.0, 0, None), (wide, 0, None)]
    ym = [(0.0, 0, None), (top, 0, None)]
    zm = [(0.0, 0, None), (high, 0, None), (high / 2 - radius, 0, None), (high / 2 + radius, 0, None),
          (high / 2, 1, None)]  # fmt: skip
    screws = []
    for rod, (centre, up) in enumerate(zip(box.centres_m, box.from_bottom, strict=True)):
        xm += [(centre, 0, 0.8 * cell), (centre - radius, 2, None), (centre + radius, 2, None)]
        xm += [(centre + s * radius / 2, 3, None) for s in (-1, 1)]
        end = box.length_m if up else box.gap_m
        tip = top - depths_m[rod] if up else depths_m[rod]
        ym += [(end, 0, fine), (tip, 0, fine)]
        screws.append((centre, tip, up))
    for rod, y in zip(ends, tap_y, strict=True):
        xm += [(box.centres_m[rod] + s * side, 1, side) for s in (-1, 1)]
        ym += [(y, 1, side), (y - side, 2, side), (y + side, 2, side)]
    least = 0.15e-3
    x, y, z = lines(xm, cell, least), lines(ym, cell, least), lines(zm, cell, least)
    nx, ny, nz = len(x) - 1, len(y) - 1, len(z) - 1
    dx, dy, dz = np.diff(x), np.diff(y), np.diff(z)
    # open parts, plane by plane (edges x and z, faces between them) and layer by layer
    fx_plane, fz_plane, area_plane = (
        np.ones((nz + 1, ny + 1, nx)),
        np.ones((nz, ny + 1, nx + 1)),
        np.ones((nz, ny + 1, nx)),
    )
    fx_layer, fz_layer, inside = (
        np.ones((nz + 1, ny, nx)),
        np.ones((nz, ny, nx + 1)),
        np.zeros((nz + 1, ny, nx + 1), bool),
    )
    middle = (y[1:] + y[:-1]) / 2
    small = 1e-7
    for rod, (centre, up) in enumerate(zip(box.centres_m, box.from_bottom, strict=True)):
        _, tip, _ = screws[rod]
        low, high_end = (0.0, box.length_m) if up else (box.gap_m, top)
        slow, shigh = (tip, top) if up else (0.0, tip)
        for part_radius, a, b in ((radius, low, high_end), (radius / 2, slow, shigh)):
            ends_at = [y[int(np.argmin(np.abs(y - e)))] for e in (a, b)]
            fx, fz, area, node = circle_parts(x, z, centre, box.plates_m / 2, part_radius)
            planes = (y >= ends_at[0] - small) & (y <= ends_at[1] + small)
            layers = (middle > ends_at[0]) & (middle < ends_at[1])
            fx_plane[:, planes] = np.minimum(fx_plane[:, planes], fx[:, None, :])
            fz_plane[:, planes] = np.minimum(fz_plane[:, planes], fz[:, None, :])
            area_plane[:, planes] = np.minimum(area_plane[:, planes], area[:, None, :])
            fx_layer[:, layers] = np.minimum(fx_layer[:, layers], fx[:, None, :])
            fz_layer[:, layers] = np.minimum(fz_layer[:, layers], fz[:, None, :])
            inside[:, layers] |= node[:, None, :]
    dt = COURANT / speed_of_light / np.sqrt(1 / dx.min() ** 2 + 1 / dy.min() ** 2 + 1 / dz.min() ** 2)
    f32 = np.float32
    lx = (fx_plane * dx).astype(f32)
    lz = (fz_plane * dz[:, None, None]).astype(f32)
    ly = np.where(inside, 0.0, dy[None, :, None]).astype(f32)

    def inverse(part, full, edges):
        open_part = np.where(part <= 1e-6, 0.0, np.maximum(part, LEAST_OPEN * edges))
        with np.errstate(divide="ignore"):
            return np.where(open_part > 0, dt / mu_0 / (open_part * full), 0.0).astype(f32)

    ax = inverse(fz_layer, dy[None, :, None] * dz[:, None, None], 1.0)
    az = inverse(fx_layer, dy[None, :, None] * dx, 1.0)
    longest = np.maximum(np.maximum(fx_plane[1:], fx_plane[:-1]), np.maximum(fz_plane[:, :, 1:], fz_plane[:, :, :-1]))
    ay = inverse(area_plane, dx * dz[:, None, None], longest)

    def dual(d):
        return np.concatenate([[1 / d[0]], 2 / (d[1:] + d[:-1]), [1 / d[-1]]]).astype(f32)

    ce = dt / epsilon_0
    cx = np.where(fx_plane > 1e-6, ce, 0).astype(f32)
    cz = np.where(fz_plane > 1e-6, ce, 0).astype(f32)
    cy = np.where(inside, 0, ce).astype(f32)
    # posts: edges of metal along z from the second plane to the rod, and the cross-section's sides; ports below
    port = -np.ones((2, 16, 3), dtype=np.int64)
    sigma = np.zeros(2, f32)
    foot = int(np.argmin(np.abs(z - (box.plates_m / 2 - radius)))) + 1
    for p, (rod, ty) in enumerate(zip(ends, tap_y, strict=True)):
        i0, i1 = (int(np.argmin(np.abs(x - (box.centres_m[rod] + s * side)))) for s in (-1, 1))
        j0, j1 = (int(np.argmin(np.abs(y - (ty + s * side)))) for s in (-1, 1))
        cz[1:foot, j0 : j1 + 1, i0 : i1 + 1] = 0
        cx[1 : foot + 1, j0 : j1 + 1, i0:i1] = 0
        cy[1 : foot + 1, j0:j1, i0 : i1 + 1] = 0
        wx, wy = 1 / dual(dx).astype(float), 1 / dual(dy).astype(float)
        spots = [(j, i, wx[i] * wy[j]) for j in range(j0, j1 + 1) for i in range(i0, i1 + 1)]
        whole = sum(s[2] for s in spots)
        sigma[p] = dz[0] / (50.0 * whole)
        for m, (j, i, w) in enumerate(spots):
            port[p, m] = j, i, round(1e6 * w / whole)
    steps = int(time_s / dt)
    t = dt * np.arange(steps)
    spread, fc = 1 / (0.35 * f.mean()), f.mean()
    drive = (np.exp(-(((t - 3 * spread) / spread) ** 2)) * np.sin(2 * np.pi * fc * (t - 3 * spread))).astype(f32)
    shapes = [(nz + 1, ny + 1, nx), (nz + 1, ny, nx + 1), (nz, ny + 1, nx + 1), (nz, ny, nx + 1), (nz, ny + 1, nx),
              (nz + 1, ny, nx)]  # fmt: skip
    e_and_h = [np.zeros(shape, f32) for shape in shapes]
    out = np.zeros((steps, 2), f32)
    march(*e_and_h, cx, cy, cz, lx, lz, ly, ax, ay, az, dz.astype(f32),
          dual(dx), dual(dy), dual(dz), steps, f32(dt), f32(epsilon_0), port, sigma, drive, out)  # fmt: skip
    later = np.abs(out[-steps // 20 :]).max() / np.abs(out).max()
    turn = np.exp(-2j * np.pi * f[:, None] * t[None, ::8])
    turn_h = np.exp(-2j * np.pi * f[:, None] * t[None, ::8])

    def spectrum(row):
        return turn @ row[::8].astype(float)

    sent = spectrum(drive)
    v = [spectrum(out[:, p]) for p in (0, 1)]
    del turn_h
    return 2 * v[0] / sent - 1, 2 * v[1] / sent, {"cells": nx * ny * nz, "steps": steps, "left": float(later)}


def told(name, fine):
    """One filter by both ways, in words."""
    centre, width, poles, structure, rod, gap = CASES[name]
    goal = FilterGoal(centre_hz=centre, width_hz=width, poles=poles, ripple_db=0.1)
    design = design_rods(goal, structure=structure, diameter_m=rod, plates_m=gap, unloaded_q=1e7)
    f = np.linspace(0.9, 1.1, 801) * centre
    begin = time.perf_counter()
    cell, depths = fine * 1e-3 * (rod / 8e-3), [depth or 0.0 for depth in design.screw_m]
    s11, s21, grid = field_response(design.box, depths, f, cell=cell, time_s=2.4 / width)
    spent = time.perf_counter() - begin
    seen, own = shape_of(f, s21), shape_of(f, rod_scattering(design.box, f)[:, 1, 0])
    lines = [f"{name}: {grid['cells']} cells, {grid['steps']} steps, {spent:.0f} s, left over {grid['left']:.3f}"]
    if seen is None:
        return [*lines, "  no pass band"]
    lines.append(
        f"  field {seen.centre_hz / 1e6:.1f} MHz, {seen.width_hz / 1e6:.1f} wide; lines {own.centre_hz / 1e6:.1f}, "
        f"{own.width_hz / 1e6:.1f}: centre {100 * (seen.centre_hz / own.centre_hz - 1):+.1f} %, width "
        f"{100 * (seen.width_hz / own.width_hz - 1):+.1f} %"
    )
    near = np.abs(f - seen.centre_hz) < 2 * width
    rows = {"s11": s11[near], "s21": s21[near]}
    sweep = Sweep(frequency_hz=f[near], rows=rows, centre_hz=seen.centre_hz, width_hz=width)
    found = extract(sweep, poles)
    rods = ", ".join(f"{100 * (one.value / centre - 1):+.2f} %" for one in found.resonator_hz)
    ratios = ", ".join(f"{one.value / k:.3f}" for one, k in zip(found.couplings, goal.couplings, strict=True))
    lines.append(
        f"  rods {rods}; couplings over the goal's {ratios}; external Q over the goal's "
        f"{found.q_first.value / goal.external_q:.3f}, {found.q_last.value / goal.external_q:.3f}"
    )
    tuned = replace(found_filter(found), resonator_hz=np.full(poles, centre))
    set_right = shape_of(f, coupled_scattering(tuned, f)[:, 1, 0])
    lines.append(f"  with screws set: {100 * (set_right.width_hz / goal.width_3db_hz - 1):+.1f} % of the width")
    return lines


def found_filter(found):
    """The extracted filter without its loss."""
    return CoupledFilter(
        resonator_hz=np.array([one.value for one in found.resonator_hz]),
        couplings=np.array([one.value for one in found.couplings]),
        q_first=found.q_first.value, q_last=found.q_last.value, unloaded_q=1e7,
    )  # fmt: skip


def main(words):
    fine = float(words.pop(0)[5:]) if words and words[0].startswith("cell=") else 1.1
    for name in words or CASES:
        print("\n".join(told(name, fine)), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
