#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""The same reduction as `emberline measure` makes of plain frames, scripted with numpy and astropy, as the
measure of how much faster the program is.

  scripted_reduction.py CAMPAIGN RA_DEG DEC_DEG LATITUDE LONGITUDE [whole|cutouts]

Does, for each frame under CAMPAIGN/frames: open, header, WCS; the stars' pixels; centroids by iterated
Gaussian windows; shift of the frame; FWHM; apertures of sixteen radii with each pixel's share by 5 × 5
sub-pixels; sky by iterated clipping in an annulus; the noise equation; BJD(TDB) and airmass; zero point by
weighted mean of the comparison stars; a row a frame into SQLite, committed with its fluxes.
All stars of a frame are worked on at once as one array of cut-outs; only that array is read with `cutouts`,
the whole frame, as most scripts do, with `whole`.
Does not: fit profiles, judge linearity, saturation, stacks and patterns, lattice ripple, correlated noise,
fill bad pixels, choose the aperture, solve the campaign's zero points together, look for host light.

Prints the processor seconds a frame; starting and the first frame (in which astropy loads its tables) are set
aside.
"""
import csv
import glob
import os
import sqlite3
import sys
import time
import warnings

import numpy as np
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.io import fits
from astropy.time import Time
from astropy.utils import iers
from astropy.wcs import WCS

warnings.simplefilter("ignore")
iers.conf.auto_download = False
iers.conf.iers_degraded_accuracy = "warn"

HALF = 30
SUB = (np.arange(5) - 2) / 5.0


def clipped(values, low=4.0, high=3.0, rounds=8):
    """Mean, scatter and count of each row, NaN left out."""
    values = values.copy()
    for _ in range(rounds):
        middle = np.nanmedian(values, axis=1, keepdims=True)
        scatter = np.nanstd(values, axis=1, keepdims=True)
        out = (values < middle - low * scatter) | (values > middle + high * scatter)
        if not out.any():
            break
        values[out] = np.nan
    return np.nanmean(values, axis=1), np.nanstd(values, axis=1), np.sum(np.isfinite(values), axis=1)


def centroids(stamps, x, y, sigma=1.6, rounds=12):
    """Windowed, about x, y in the stamps' own pixels; also the width."""
    grid = np.arange(stamps.shape[1], dtype=float)
    width = np.full(len(x), sigma)
    for _ in range(rounds):
        dx = grid[None, None, :] - x[:, None, None]
        dy = grid[None, :, None] - y[:, None, None]
        weight = np.exp(-0.5 * (dx * dx + dy * dy) / sigma**2) * stamps
        total = weight.sum(axis=(1, 2))
        step_x = 2.0 * (weight * dx).sum(axis=(1, 2)) / total
        step_y = 2.0 * (weight * dy).sum(axis=(1, 2)) / total
        square = 0.5 * (weight * (dx * dx + dy * dy)).sum(axis=(1, 2)) / total
        width = 1.0 / np.sqrt(np.maximum(1.0 / np.maximum(square, 1e-3) - 1.0 / sigma**2, 1e-2))
        x = x + np.clip(step_x, -1, 1)
        y = y + np.clip(step_y, -1, 1)
        if max(np.abs(step_x).max(), np.abs(step_y).max()) < 2e-4:
            break
    return x, y, 2.3548 * width


def aperture_sums(stamps, x, y, radii):
    """Sums of light and areas, one a star and radius; only pixels that a circle cuts are divided."""
    grid = np.arange(stamps.shape[1], dtype=float)
    dx = grid[None, None, :] - x[:, None, None]
    dy = grid[None, :, None] - y[:, None, None]
    distance = np.sqrt(dx * dx + dy * dy)
    sums, areas = [], []
    for r in radii:
        share = (distance <= r - 0.71).astype(float)
        star, row, column = np.nonzero(np.abs(distance - r) < 0.71)
        sx = dx[star, 0, column][:, None, None] + SUB[None, None, :]
        sy = dy[star, row, 0][:, None, None] + SUB[None, :, None]
        share[star, row, column] = (sx * sx + sy * sy < r * r).mean(axis=(1, 2))
        sums.append((share * stamps).sum(axis=(1, 2)))
        areas.append(share.sum(axis=(1, 2)))
    return np.array(sums).T, np.array(areas).T


def reduce(path, stars, place, magnitudes, site, ledger, how):
    with fits.open(path) as file:
        header = file[0].header
        wcs = WCS(header)
        px, py = wcs.all_world2pix(stars.ra.deg, stars.dec.deg, 0)
        inside = (px > HALF) & (py > HALF) & (px < header["NAXIS1"] - HALF - 1) & (py < header["NAXIS2"] - HALF - 1)
        inside[0] = True
        px, py, mags = px[inside], py[inside], magnitudes[inside]
        cx, cy = np.round(px).astype(int), np.round(py).astype(int)
        if how == "whole":
            data = file[0].data.astype(np.float32)
            cut = lambda x, y: data[y - HALF:y + HALF + 1, x - HALF:x + HALF + 1]
        else:
            section = file[0].section
            cut = lambda x, y: section[y - HALF:y + HALF + 1, x - HALF:x + HALF + 1]
        stamps = np.array([cut(x, y) for x, y in zip(cx, cy)], dtype=float)
    gain = float(header.get("EGAIN", header.get("GAIN", 1.0)))
    level = np.median(stamps, axis=(1, 2), keepdims=True)
    x, y, widths = centroids(stamps - level, px - cx + HALF, py - cy + HALF)
    # The transient is measured where the catalogue and the stars' shift put it.
    x[0] = px[0] - cx[0] + HALF + np.median(x[1:] - (px - cx + HALF)[1:])
    y[0] = py[0] - cy[0] + HALF + np.median(y[1:] - (py - cy + HALF)[1:])
    fwhm = np.median(widths[1:])
    radii = fwhm * np.array([0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.35, 1.5, 1.65, 1.8, 1.95, 2.1, 2.3, 2.5, 3.0])
    grid = np.arange(2 * HALF + 1, dtype=float)
    distance = np.hypot(grid[None, None, :] - x[:, None, None], grid[None, :, None] - y[:, None, None])
    ring = np.where((distance > 4.0 * fwhm) & (distance < 7.0 * fwhm), stamps, np.nan)
    sky, scatter, n_sky = clipped(ring.reshape(len(x), -1))
    flux, area = aperture_sums(stamps - sky[:, None, None], x, y, radii)
    flux = flux * gain
    scatter = scatter[:, None] * gain
    variance = np.maximum(flux, 0) + area * scatter**2 + area**2 * scatter**2 / n_sky[:, None]
    start = Time(header["DATE-OBS"], scale="utc", location=site)
    middle = start + 0.5 * float(header["EXPTIME"]) * u.s
    bjd = (middle.tdb + middle.light_travel_time(place)).jd
    airmass = place.transform_to(AltAz(obstime=middle, location=site)).secz.value
    best = 7
    instrumental = -2.5 * np.log10(np.maximum(flux[:, best], 1e-3))
    err = 1.0857 * np.sqrt(variance[:, best]) / np.maximum(flux[:, best], 1e-3)
    good = np.isfinite(mags)
    weight = 1.0 / (err[good] ** 2 + 0.03**2)
    zero = np.sum(weight * (mags[good] - instrumental[good])) / weight.sum()
    with ledger:
        ledger.execute("INSERT INTO frame VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                       (path, middle.jd, bjd, airmass, fwhm, zero, instrumental[0] + zero, err[0]))
        ledger.executemany("INSERT INTO star VALUES (?, ?, ?, ?, ?)",
                           [(path, i, flux[i].tobytes(), variance[i].tobytes(), sky[i]) for i in range(len(x))])


def main():
    folder, ra, dec, latitude, longitude = sys.argv[1], *map(float, sys.argv[2:6])
    how = sys.argv[6] if len(sys.argv) > 6 else "whole"
    with open(os.path.join(folder, "comparison.csv"), encoding="utf-8") as table:
        rows = list(csv.DictReader(line for line in table if not line.startswith("#")))
    place = SkyCoord(ra * u.deg, dec * u.deg)
    stars = SkyCoord([ra] + [float(row["ra"]) for row in rows], [dec] + [float(row["dec"]) for row in rows],
                     unit=u.deg)
    magnitudes = np.array([np.nan] + [float(row["V"] or "nan") for row in rows])
    site = EarthLocation(lat=latitude * u.deg, lon=longitude * u.deg, height=95 * u.m)
    ledger_path = os.path.join(folder, f"scripted-{how}.ledger")
    ledger = sqlite3.connect(ledger_path)
    ledger.execute("CREATE TABLE frame (path, jd, bjd, airmass, fwhm, zero_point, mag, mag_err)")
    ledger.execute("CREATE TABLE star (path, star, flux, variance, sky)")
    paths = sorted(glob.glob(os.path.join(folder, "frames", "**", "*.fits"), recursive=True))
    reduce(paths[0], stars, place, magnitudes, site, ledger, how)
    begin = time.process_time()
    for path in paths[1:]:
        reduce(path, stars, place, magnitudes, site, ledger, how)
    print((time.process_time() - begin) / (len(paths) - 1))
    for row in ledger.execute("SELECT avg(mag), avg(mag_err) FROM frame"):
        print(*row, file=sys.stderr)


main()
