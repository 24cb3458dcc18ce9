// SPDX-License-Identifier: MIT
// Marks upon the picture, of one line width at every zoom, each with a rim in the picture's ground so that it is
// seen on bright and dark.
import type { FrameFacts, Place, Role } from "./answers";
import { apply, scaleOf, type Affine, type XY } from "./affine";
import { placed, type Wanted } from "./labels";
import { scaleBar } from "./scale_bar";
import type { OverlayName } from "./state";
import type { Size } from "./viewport";

export interface Tones {
    ground: string;
    ink: string;
    ember: string;
    slate: string;
}
export interface Chosen extends Place {
    label: string;
    aperture: { radius_px: number; inner_px: number; outer_px: number } | null;
}
interface Drawn {
    context: CanvasRenderingContext2D;
    map: Affine;
    size: Size;
    tones: Tones;
}

const reach = { square: 9, triangle: 10, cross: 10 };
const reticleInner = 10;
const reticleArm = 12;
const font = "600 12px system-ui, 'Noto Sans', 'DejaVu Sans', sans-serif";

export function drawOverlay(drawn: Drawn, facts: FrameFacts, shown: (name: OverlayName) => boolean, chosen: Chosen | null): void {
    const labels: { wanted: Wanted; text: string; colour: string }[] = [];
    const { map, tones } = drawn;
    const at = (place: Place) => apply(map, [place.x_px, place.y_px]);
    const label = (place: XY, markReach: number, text: string, colour: string) => {
        drawn.context.font = font;
        const width = drawn.context.measureText(text).width;
        labels.push({ wanted: { x: place[0], y: place[1], reach: markReach, width, height: 14 }, text, colour });
    };
    if (facts.transient && shown("transient")) {
        // Outside the aperture where that is drawn larger than the open centre.
        const radius = facts.aperture && shown("aperture") ? facts.aperture.radius_px * scaleOf(map) + 4 : 0;
        const inner = Math.max(reticleInner, radius);
        reticle(drawn, at(facts.transient), inner);
        label(at(facts.transient), inner + reticleArm, "Transient", tones.ember);
    }
    if (facts.transient && facts.aperture && shown("aperture")) apertures(drawn, facts.transient, facts.aperture, tones.ember);
    if (chosen) {
        if (chosen.aperture && shown("aperture")) apertures(drawn, chosen, chosen.aperture, tones.slate);
        corners(drawn, at(chosen));
    }
    if (facts.nucleus && shown("nucleus")) {
        cross(drawn, at(facts.nucleus));
        label(at(facts.nucleus), reach.cross, "Nucleus", tones.ink);
    }
    for (const star of facts.stars) {
        const role: Role = star.role;
        if (role === "unused" || !shown(role === "check" ? "check" : "comparison")) continue;
        const place = at(star);
        if (role === "check") triangle(drawn, place);
        else square(drawn, place, star.suspect);
        const name = role === "check" ? `${star.label} check` : star.label;
        label(place, role === "check" ? reach.triangle : reach.square, star.suspect ? `${name} suspect` : name, tones.slate);
    }
    if (shown("compass")) compass(drawn, facts);
    if (shown("scale")) bar(drawn, facts);
    if (!shown("labels")) return;
    const corner = [
        { left: 0, top: drawn.size.height - 52, right: 180, bottom: drawn.size.height },
        { left: drawn.size.width - 92, top: 0, right: drawn.size.width, bottom: 92 },
    ];
    const inside = labels.filter(({ wanted }) => wanted.x > -20 && wanted.y > -20 && wanted.x < drawn.size.width + 20 && wanted.y < drawn.size.height + 20);
    placed(inside.map((one) => one.wanted), drawn.size.width, drawn.size.height, corner).forEach((put, i) => {
        const one = inside[i]!;
        if (put) text(drawn, one.text, put.left, put.top + 7, one.colour);
    });
}

// The rim first, then the line on it.
function line(drawn: Drawn, colour: string, width: number, trace: (path: Path2D) => void, dash: number[] = []): void {
    const path = new Path2D();
    trace(path);
    const { context, tones } = drawn;
    context.lineCap = "butt";
    context.setLineDash(dash);
    context.strokeStyle = tones.ground;
    context.globalAlpha = 0.85;
    context.lineWidth = width + 2.5;
    context.stroke(path);
    context.globalAlpha = 1;
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.stroke(path);
    context.setLineDash([]);
}

function text(drawn: Drawn, words: string, left: number, middle: number, colour: string): void {
    const { context, tones } = drawn;
    context.font = font;
    context.textBaseline = "middle";
    context.lineJoin = "round";
    context.strokeStyle = tones.ground;
    context.lineWidth = 3.5;
    context.strokeText(words, left, middle);
    context.fillStyle = colour;
    context.fillText(words, left, middle);
}

function reticle(drawn: Drawn, [x, y]: XY, inner: number): void {
    const outer = inner + reticleArm;
    line(drawn, drawn.tones.ember, 2, (path) => {
        for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]] as const) {
            path.moveTo(x + dx * inner, y + dy * inner);
            path.lineTo(x + dx * outer, y + dy * outer);
        }
    });
}

function square(drawn: Drawn, [x, y]: XY, suspect: boolean): void {
    const r = reach.square;
    line(drawn, drawn.tones.slate, 1.6, (path) => path.rect(x - r, y - r, 2 * r, 2 * r), suspect ? [4, 3] : []);
}

function triangle(drawn: Drawn, [x, y]: XY): void {
    const r = reach.triangle;
    line(drawn, drawn.tones.slate, 1.6, (path) => {
        path.moveTo(x, y - r * 1.15);
        path.lineTo(x + r * 1.05, y + r * 0.75);
        path.lineTo(x - r * 1.05, y + r * 0.75);
        path.closePath();
    });
}

function cross(drawn: Drawn, [x, y]: XY): void {
    const r = reach.cross;
    line(drawn, drawn.tones.ink, 1, (path) => {
        path.moveTo(x - r, y);
        path.lineTo(x + r, y);
        path.moveTo(x, y - r);
        path.lineTo(x, y + r);
    });
}

// Round the star that is looked at: the corners of a frame about its own mark.
function corners(drawn: Drawn, [x, y]: XY): void {
    const r = 15;
    const arm = 6;
    line(drawn, drawn.tones.ink, 2, (path) => {
        for (const [sx, sy] of [[1, 1], [1, -1], [-1, -1], [-1, 1]] as const) {
            path.moveTo(x + sx * r, y + sy * (r - arm));
            path.lineTo(x + sx * r, y + sy * r);
            path.lineTo(x + sx * (r - arm), y + sy * r);
        }
    });
}

function apertures(drawn: Drawn, place: Place, radii: { radius_px: number; inner_px: number; outer_px: number }, colour: string): void {
    const [x, y] = apply(drawn.map, [place.x_px, place.y_px]);
    const scale = scaleOf(drawn.map);
    if (radii.outer_px * scale < 5) return;
    const circle = (radius: number, dash: number[]) => {
        if (radius > 0) line(drawn, colour, 1.2, (path) => path.arc(x, y, radius * scale, 0, 2 * Math.PI), dash);
    };
    circle(radii.radius_px, []);
    circle(radii.inner_px, [5, 4]);
    circle(radii.outer_px, [5, 4]);
}

function compass(drawn: Drawn, facts: FrameFacts): void {
    if (!facts.px_per_arcsec) return;
    const [xe, xn, ye, yn] = facts.px_per_arcsec;
    const [a, b, c, d] = drawn.map;
    const length = 30;
    const origin: XY = [drawn.size.width - 48, 48];
    const arm = (dx: number, dy: number, name: string, head: boolean) => {
        const sx = a * dx + c * dy;
        const sy = b * dx + d * dy;
        const norm = Math.hypot(sx, sy) || 1;
        const [ux, uy] = [sx / norm, sy / norm];
        const tip: XY = [origin[0] + ux * length, origin[1] + uy * length];
        line(drawn, drawn.tones.ink, 1.5, (path) => {
            path.moveTo(...origin);
            path.lineTo(...tip);
            if (!head) return;
            path.moveTo(tip[0] - 7 * ux - 4 * uy, tip[1] - 7 * uy + 4 * ux);
            path.lineTo(...tip);
            path.lineTo(tip[0] - 7 * ux + 4 * uy, tip[1] - 7 * uy - 4 * ux);
        });
        drawn.context.textAlign = "center";
        text(drawn, name, tip[0] + ux * 10, tip[1] + uy * 10, drawn.tones.ink);
        drawn.context.textAlign = "start";
    };
    arm(xn, yn, "N", true);
    arm(xe, ye, "E", false);
}

function bar(drawn: Drawn, facts: FrameFacts): void {
    if (!facts.scale_arcsec_per_px) return;
    const found = scaleBar(scaleOf(drawn.map) / facts.scale_arcsec_per_px, Math.min(160, drawn.size.width * 0.3));
    if (!found) return;
    const x = 16;
    const y = drawn.size.height - 18;
    line(drawn, drawn.tones.ink, 1.6, (path) => {
        path.moveTo(x, y - 5);
        path.lineTo(x, y);
        path.lineTo(x + found.length, y);
        path.lineTo(x + found.length, y - 5);
    });
    text(drawn, found.words, x + 4, y - 13, drawn.tones.ink);
}
