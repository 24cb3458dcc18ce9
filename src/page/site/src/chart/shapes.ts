// SPDX-License-Identifier: MIT
// Marks that a grey print can tell apart, on a canvas and beside words.

interface Pen {
    moveTo(x: number, y: number): void;
    lineTo(x: number, y: number): void;
    closePath(): void;
    arc(x: number, y: number, radius: number, from: number, to: number): void;
}

// Corners for a mark of half-width 1, chosen so that marks look equally large.
const corners: Record<string, readonly (readonly [number, number])[]> = {
    square: [[-0.88, -0.88], [0.88, -0.88], [0.88, 0.88], [-0.88, 0.88]],
    triangle: [[0, -1.2], [1.1, 0.8], [-1.1, 0.8]],
    "inverted-triangle": [[0, 1.2], [1.1, -0.8], [-1.1, -0.8]],
    diamond: [[0, -1.3], [1.15, 0], [0, 1.3], [-1.15, 0]],
    pentagon: [[0, -1.12], [1.07, -0.35], [0.66, 0.91], [-0.66, 0.91], [-1.07, -0.35]],
};

export function tracePoint(pen: Pen, shape: string, x: number, y: number, radius: number): void {
    const outline = corners[shape.replaceAll("_", "-")];
    if (outline) {
        outline.forEach(([dx, dy], i) => (i ? pen.lineTo(x + dx * radius, y + dy * radius) : pen.moveTo(x + dx * radius, y + dy * radius)));
        pen.closePath();
    } else {
        pen.moveTo(x + radius, y);
        pen.arc(x, y, radius, 0, 2 * Math.PI);
    }
}

// The limit's arrow: a bar at the limit, and an open head below it, towards fainter.
export function traceLimit(pen: Pen, x: number, y: number, radius: number): void {
    pen.moveTo(x - 1.2 * radius, y);
    pen.lineTo(x + 1.2 * radius, y);
    pen.moveTo(x, y);
    pen.lineTo(x, y + 1.8 * radius);
    pen.moveTo(x - radius, y + 1.8 * radius);
    pen.lineTo(x + radius, y + 1.8 * radius);
    pen.lineTo(x, y + 3.4 * radius);
    pen.closePath();
}

// Lines of bands are told apart by their dashes where a colour does not (CSS pixels).
const dashes: readonly (readonly number[])[] = [[], [8, 4], [2, 3], [10, 3, 2, 3], [5, 2], [1, 4]];
export function dashOf(place: number): readonly number[] {
    return dashes[place % dashes.length] ?? [];
}

const svg = "http://www.w3.org/2000/svg";

// The mark as it stands beside a word: coloured by the token, so it follows the theme by itself.
export function pointSign(shape: string, colour: string, options: { open?: boolean; dash?: readonly number[] } = {}): SVGSVGElement {
    const picture = document.createElementNS(svg, "svg");
    picture.setAttribute("viewBox", "0 0 26 14");
    picture.setAttribute("width", "26");
    picture.setAttribute("height", "14");
    picture.setAttribute("aria-hidden", "true");
    picture.classList.add("point-sign");
    picture.style.color = `var(--${colour})`;
    if (options.dash) {
        const line = document.createElementNS(svg, "path");
        line.setAttribute("d", "M0 7H26");
        line.setAttribute("stroke", "currentColor");
        line.setAttribute("stroke-width", "1.5");
        if (options.dash.length) line.setAttribute("stroke-dasharray", options.dash.join(" "));
        picture.append(line);
    }
    const path = document.createElementNS(svg, "path");
    const words: string[] = [];
    const pen: Pen = {
        moveTo: (x, y) => words.push(`M${x} ${y}`),
        lineTo: (x, y) => words.push(`L${x} ${y}`),
        closePath: () => words.push("Z"),
        arc: (x, y, r) => words.push(`A${r} ${r} 0 1 1 ${x - r} ${y}A${r} ${r} 0 1 1 ${x + r} ${y}`),
    };
    tracePoint(pen, shape, 13, 7, 4.6);
    path.setAttribute("d", words.join(""));
    path.setAttribute("stroke", "currentColor");
    path.setAttribute("stroke-width", "1.6");
    path.setAttribute("fill", options.open ? "var(--paper)" : "currentColor");
    picture.append(path);
    return picture;
}
