// SPDX-License-Identifier: MIT
// A scale bar of a round length: seconds, minutes or degrees of arc.

const steps = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 18000, 36000];

export interface ScaleBar {
    arcsec: number;
    length: number; // CSS pixels
    words: string;
}

// The longest round length that takes at most `most` CSS pixels.
export function scaleBar(cssPerArcsec: number, most: number): ScaleBar | null {
    const fits = steps.filter((step) => step * cssPerArcsec <= most);
    const arcsec = fits[fits.length - 1];
    return arcsec === undefined ? null : { arcsec, length: arcsec * cssPerArcsec, words: words(arcsec) };
}

function words(arcsec: number): string {
    if (arcsec < 60) return `${arcsec} arcsec`;
    if (arcsec < 3600) return `${arcsec / 60} arcmin`;
    return `${arcsec / 3600} deg`;
}
