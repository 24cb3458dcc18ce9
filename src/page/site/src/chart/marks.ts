// SPDX-License-Identifier: MIT
// What a chart shows. Along x everything is in one unit (a Julian date wherever the axis is one of time); colours are
// names of theme tokens, so that a picture follows the theme.
import type { XAxis } from "./time_axis";

export interface Point {
    x: number;
    y: number;
    err?: number | null; // one sigma
    limit?: boolean; // y is a limit: nothing brighter was there
    crossed?: boolean; // an outlier, or refused
    words: string; // the whole of it in a sentence: read out, and shown beside the chart
    link?: string; // where a click or Enter leads; given back to onPoint
}

export interface PointSeries {
    name: string;
    shape: string; // "disc", "square", "triangle", "inverted-triangle", "diamond", "pentagon", "cross"
    colour: string; // token
    open?: boolean; // hollow: other observers
    points: Point[];
}

export interface LineSeries {
    name: string;
    colour: string;
    x: readonly number[];
    y: readonly number[];
    low?: readonly number[]; // a band round the line, one sigma as a rule
    high?: readonly number[];
    dash?: readonly number[]; // CSS pixels
    width?: number;
}

export interface Mark {
    x: number;
    words: string;
    colour?: string;
}
export interface Level {
    y: number;
    words: string;
    colour?: string;
}

export interface Panel {
    name: string; // "Magnitude"
    unit: string; // "mag"
    height: number; // CSS pixels
    inverted?: boolean; // small values on top: magnitudes
    decimals?: number; // of the table
    leastSpan?: number; // y never shows less than this
    include?: readonly number[]; // values that y always shows
    points: PointSeries[];
    lines?: LineSeries[];
    marks?: Mark[];
    levels?: Level[];
}

export interface ChartData {
    x: XAxis;
    panels: Panel[];
    domain?: Range | null; // what "show all" shows; the extent of the data where it is not given
}

export type Range = readonly [from: number, to: number];

const margin = 0.04;

// Of all points and lines of all panels, with a margin.
export function extent(data: ChartData): Range {
    if (data.domain) return data.domain;
    let low = Infinity;
    let high = -Infinity;
    const take = (x: number) => {
        if (!Number.isFinite(x)) return;
        low = Math.min(low, x);
        high = Math.max(high, x);
    };
    for (const panel of data.panels) {
        for (const series of panel.points) for (const point of series.points) take(point.x);
        for (const line of panel.lines ?? []) line.x.forEach(take);
    }
    if (low > high) return [0, 1];
    const pad = high > low ? (high - low) * margin : 0.5;
    return [low - pad, high + pad];
}

// A band may widen beyond any bound (a forecast): the points and the lines decide, and a band gets at most half of
// their span on either side.
export function heightOf(panel: Panel, [from, to]: Range): Range {
    let low = Infinity;
    let high = -Infinity;
    const take = (y: number) => {
        if (!Number.isFinite(y)) return;
        low = Math.min(low, y);
        high = Math.max(high, y);
    };
    for (const series of panel.points) {
        for (const point of series.points) {
            if (point.x < from || point.x > to) continue;
            take(point.y - (point.err ?? 0));
            take(point.y + (point.err ?? 0));
        }
    }
    for (const line of panel.lines ?? []) line.x.forEach((x, i) => x >= from && x <= to && take(line.y[i] ?? NaN));
    panel.include?.forEach(take);
    if (low > high) return [0, 1];
    const reach = (high - low) / 2;
    const [least, most] = [low - reach, high + reach];
    for (const line of panel.lines ?? []) {
        line.x.forEach((x, i) => {
            if (x < from || x > to) return;
            take(Math.max(least, line.low?.[i] ?? NaN));
            take(Math.min(most, line.high?.[i] ?? NaN));
        });
    }
    const short = Math.max(0, (panel.leastSpan ?? 0) - (high - low)) / 2;
    const pad = Math.max((high - low) * 0.06, high === low ? 0.5 : 0, short);
    return [low - pad, high + pad];
}
