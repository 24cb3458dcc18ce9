# SPDX-License-Identifier: MIT
# Another reader's idea of the plate solutions in FITS files: astropy, through its own copy of WCSLIB.
# usage: read_copies.py TABLE, each line of it: file, HDU, x, y (from 0), RA and Dec in degrees.
# Prints the largest distance in pixels, both ways; exit status 77 where astropy is missing.
import csv
import sys
import warnings

try:
    from astropy.io import fits
    from astropy.wcs import WCS
except ImportError:
    sys.exit(77)

warnings.simplefilter("ignore")
worst = 0.0
with open(sys.argv[1], newline="") as table:
    for file, hdu, x, y, ra, dec in csv.reader(table):
        with fits.open(file) as opened:
            # It refuses SIP on a colour cube unless told that the third axis is none of the sky's.
            wcs = WCS(opened[int(hdu)].header, opened, naxis=2)
            if wcs.wcs.radesys != "ICRS":
                sys.exit(f"{file}: places in {wcs.wcs.radesys}")
            px, py = wcs.all_world2pix(float(ra), float(dec), 0, tolerance=1e-10)
            there = wcs.all_pix2world(float(x), float(y), 0)
            back = wcs.all_world2pix(*there, 0, tolerance=1e-10)
            if opened[int(hdu)].data is None:
                sys.exit(f"{file}: no pixels")
        for qx, qy in ((px, py), back):
            worst = max(worst, abs(qx - float(x)), abs(qy - float(y)))
print(repr(float(worst)))
