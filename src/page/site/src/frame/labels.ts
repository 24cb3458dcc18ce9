// SPDX-License-Identifier: MIT
// Places for the labels of marks, so that none covers another or a mark.

export interface Wanted {
    x: number; // the mark's middle, CSS pixels
    y: number;
    reach: number; // of the mark about its middle
    width: number; // of the label
    height: number;
}
export interface Put {
    left: number;
    top: number;
}
interface Rect {
    left: number;
    top: number;
    right: number;
    bottom: number;
}

const gap = 3;
const around: readonly (readonly [number, number])[] = [
    [1, 0],
    [-1, 0],
    [0, -1],
    [0, 1],
    [1, -1],
    [1, 1],
    [-1, -1],
    [-1, 1],
];

// Of each wanted label where it goes, in the order of importance; null where there is no room for it.
export function placed(wanted: readonly Wanted[], width: number, height: number, taken: readonly Rect[] = []): (Put | null)[] {
    const marks = wanted.map(markOf);
    const full: Rect[] = [...taken];
    return wanted.map((label, i) => {
        for (const [sx, sy] of around) {
            const rect = beside(label, sx, sy);
            const inside = rect.left >= 0 && rect.top >= 0 && rect.right <= width && rect.bottom <= height;
            if (!inside || full.some((other) => meet(rect, other))) continue;
            if (marks.some((mark, k) => k !== i && meet(rect, mark))) continue;
            full.push(rect);
            return { left: rect.left, top: rect.top };
        }
        return null;
    });
}

function markOf({ x, y, reach }: Wanted): Rect {
    return { left: x - reach, right: x + reach, top: y - reach, bottom: y + reach };
}

function beside({ x, y, reach, width, height }: Wanted, sx: number, sy: number): Rect {
    const left = sx === 0 ? x - width / 2 : sx > 0 ? x + reach + gap : x - reach - gap - width;
    const top = sy === 0 ? y - height / 2 : sy > 0 ? y + reach + gap : y - reach - gap - height;
    return { left, top, right: left + width, bottom: top + height };
}

function meet(a: Rect, b: Rect): boolean {
    return a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
}
