// SPDX-License-Identifier: MIT
// Puts a panel's marks on its canvas: a path for all the points of a series, so that ten thousand are drawn at once.
import { tone } from "../theme";
import type { LineSeries, Panel, Point, PointSeries, Range } from "./marks";
import { traceLimit, tracePoint } from "./shapes";

export interface Place {
    left: number;
    top: number;
    width: number;
    height: number;
    x: Range;
    y: Range;
    inverted: boolean;
    unit: number; // canvas pixels in a CSS pixel
}

export function xOn(place: Place, x: number): number {
    return place.left + ((x - place.x[0]) / (place.x[1] - place.x[0])) * place.width;
}
export function yOn(place: Place, y: number): number {
    const share = (y - place.y[0]) / (place.y[1] - place.y[0]);
    return place.top + (place.inverted ? share : 1 - share) * place.height;
}

export const font = 'system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", sans-serif';
const manyPoints = 600;
const radiusFew = 4.2;
const radiusMany = 2.4;

export function paintPanel(ctx: CanvasRenderingContext2D, panel: Panel, place: Place, interval: Range | null): void {
    ctx.save();
    ctx.beginPath();
    ctx.rect(place.left, place.top, place.width, place.height);
    ctx.clip();
    ctx.lineJoin = "round";
    if (interval) paintInterval(ctx, place, interval);
    for (const line of panel.lines ?? []) paintBand(ctx, line, place);
    for (const level of panel.levels ?? []) {
        const y = yOn(place, level.y);
        rule(ctx, place.unit, level.colour ?? "faint", [place.left, y], [place.left + place.width, y]);
        words(ctx, place, level.words, place.left + place.width - 4 * place.unit, y - 4 * place.unit, "right");
    }
    paintMarks(ctx, panel, place);
    for (const line of panel.lines ?? []) paintLine(ctx, line, place);
    const radius = (panel.points.reduce((n, series) => n + series.points.length, 0) > manyPoints ? radiusMany : radiusFew) * place.unit;
    for (const series of panel.points) paintPoints(ctx, series, place, radius);
    ctx.restore();
}

function paintInterval(ctx: CanvasRenderingContext2D, place: Place, [from, to]: Range): void {
    ctx.globalAlpha = 0.12;
    ctx.fillStyle = tone("ember");
    const left = xOn(place, from);
    ctx.fillRect(left, place.top, xOn(place, to) - left, place.height);
    ctx.globalAlpha = 1;
}

function rule(ctx: CanvasRenderingContext2D, unit: number, colour: string, from: readonly [number, number], to: readonly [number, number]): void {
    ctx.strokeStyle = tone(colour);
    ctx.lineWidth = unit;
    ctx.setLineDash([4 * unit, 4 * unit]);
    ctx.beginPath();
    ctx.moveTo(...from);
    ctx.lineTo(...to);
    ctx.stroke();
    ctx.setLineDash([]);
}

function words(ctx: CanvasRenderingContext2D, place: Place, text: string, x: number, y: number, align: CanvasTextAlign): void {
    ctx.font = `${12 * place.unit}px ${font}`;
    ctx.fillStyle = tone("ink");
    ctx.textAlign = align;
    ctx.textBaseline = "alphabetic";
    ctx.fillText(text, x, y);
}

// Words that would run into one another go down a row.
function paintMarks(ctx: CanvasRenderingContext2D, panel: Panel, place: Place): void {
    const rowEnds: number[] = [];
    const sorted = [...(panel.marks ?? [])].sort((a, b) => a.x - b.x);
    for (const mark of sorted) {
        const x = xOn(place, mark.x);
        if (x < place.left || x > place.left + place.width) continue;
        rule(ctx, place.unit, mark.colour ?? "faint", [x, place.top], [x, place.top + place.height]);
        ctx.font = `${12 * place.unit}px ${font}`;
        const width = ctx.measureText(mark.words).width + 10 * place.unit;
        const flipped = x + width > place.left + place.width;
        const start = flipped ? x - width : x;
        let row = rowEnds.findIndex((end) => end <= start);
        if (row < 0) row = rowEnds.length;
        rowEnds[row] = start + width;
        const gap = 4 * place.unit;
        words(ctx, place, mark.words, flipped ? x - gap : x + gap, place.top + (14 + 15 * row) * place.unit, flipped ? "right" : "left");
    }
}

function paintBand(ctx: CanvasRenderingContext2D, line: LineSeries, place: Place): void {
    const { low, high } = line;
    if (!low || !high || line.x.length < 2) return;
    ctx.beginPath();
    line.x.forEach((x, i) => ctx.lineTo(xOn(place, x), yOn(place, low[i] ?? 0)));
    for (let i = line.x.length - 1; i >= 0; i -= 1) ctx.lineTo(xOn(place, line.x[i] ?? 0), yOn(place, high[i] ?? 0));
    ctx.closePath();
    ctx.fillStyle = tone(line.colour);
    ctx.globalAlpha = 0.16;
    ctx.fill();
    ctx.globalAlpha = 1;
}

function paintLine(ctx: CanvasRenderingContext2D, line: LineSeries, place: Place): void {
    ctx.beginPath();
    let pen = false;
    line.x.forEach((x, i) => {
        const y = line.y[i];
        if (y === undefined || !Number.isFinite(y)) {
            pen = false;
            return;
        }
        if (pen) ctx.lineTo(xOn(place, x), yOn(place, y));
        else ctx.moveTo(xOn(place, x), yOn(place, y));
        pen = true;
    });
    ctx.strokeStyle = tone(line.colour);
    ctx.lineWidth = (line.width ?? 1.6) * place.unit;
    ctx.setLineDash((line.dash ?? []).map((length) => length * place.unit));
    ctx.stroke();
    ctx.setLineDash([]);
}

function shown(point: Point, place: Place): boolean {
    return point.x >= place.x[0] && point.x <= place.x[1] && Number.isFinite(point.y);
}

// A mark is drawn once and stamped wherever it stands: a path of ten thousand outlines would take seconds to fill.
function stampOf(radius: number, unit: number, draw: (ctx: CanvasRenderingContext2D, middle: number) => void): HTMLCanvasElement {
    const stamp = document.createElement("canvas");
    const half = Math.ceil(4 * radius + 2 * unit);
    stamp.width = 2 * half + 1;
    stamp.height = 2 * half + 1;
    draw(stamp.getContext("2d")!, half + 0.5);
    return stamp;
}

function pointStamp(series: PointSeries, radius: number, unit: number): HTMLCanvasElement {
    return stampOf(radius, unit, (ctx, middle) => {
        ctx.lineJoin = "round";
        ctx.beginPath();
        tracePoint(ctx, series.shape, middle, middle, radius);
        ctx.fillStyle = tone(series.open ? "paper" : series.colour);
        ctx.fill();
        ctx.strokeStyle = tone(series.colour);
        ctx.lineWidth = (series.open ? 1.5 : 1) * unit;
        ctx.stroke();
    });
}

function limitStamp(series: PointSeries, radius: number, unit: number): HTMLCanvasElement {
    return stampOf(radius, unit, (ctx, middle) => {
        ctx.lineJoin = "round";
        ctx.beginPath();
        traceLimit(ctx, middle, middle, radius);
        ctx.fillStyle = tone("paper");
        ctx.fill();
        ctx.strokeStyle = tone(series.colour);
        ctx.lineWidth = 1.4 * unit;
        ctx.stroke();
    });
}

function crossStamp(radius: number, unit: number): HTMLCanvasElement {
    return stampOf(radius, unit, (ctx, middle) => {
        const arm = radius * 1.9;
        ctx.beginPath();
        ctx.moveTo(middle - arm, middle - arm);
        ctx.lineTo(middle + arm, middle + arm);
        ctx.moveTo(middle - arm, middle + arm);
        ctx.lineTo(middle + arm, middle - arm);
        ctx.strokeStyle = tone("ink");
        ctx.lineWidth = 1.4 * unit;
        ctx.stroke();
    });
}

function paintPoints(ctx: CanvasRenderingContext2D, series: PointSeries, place: Place, radius: number): void {
    const { unit } = place;
    const seen = series.points.filter((point) => shown(point, place));
    const put = (stamp: HTMLCanvasElement, point: Point) =>
        ctx.drawImage(stamp, Math.round(xOn(place, point.x)) - (stamp.width - 1) / 2, Math.round(yOn(place, point.y)) - (stamp.height - 1) / 2);
    const bar = Math.max(1, Math.round(1.2 * unit));
    ctx.fillStyle = tone(series.colour);
    for (const point of seen) {
        if (!point.err || point.limit) continue;
        const [a, b] = [yOn(place, point.y - point.err), yOn(place, point.y + point.err)];
        ctx.fillRect(Math.round(xOn(place, point.x)) - Math.floor((bar - 1) / 2), Math.min(a, b), bar, Math.abs(b - a));
    }
    const mark = pointStamp(series, radius, unit);
    for (const point of seen) if (!point.limit) put(mark, point);
    const limits = seen.filter((point) => point.limit);
    if (limits.length) {
        const arrow = limitStamp(series, radius, unit);
        limits.forEach((point) => put(arrow, point));
    }
    const crossed = seen.filter((point) => point.crossed);
    if (crossed.length) {
        const cross = crossStamp(radius, unit);
        crossed.forEach((point) => put(cross, point));
    }
}
