// SPDX-License-Identifier: MIT
// From the answers to what the chart draws.
import { bandPlace, bandShape } from "../../campaign";
import { civil, type ChartData, type LineSeries, type Mark, type Panel, type Point, type PointSeries, type XAxis } from "../../chart";
import { dashOf } from "../../chart/shapes";
import { signed, withError } from "../../words";
import type { Curve, CurvePoint, Forecast, NightRow, RateAnswer } from "./answers";
import { shownBands, type CurveState } from "./state";

const curveHeight = 360;
const residualHeight = 110;
const narrowCurveHeight = 280;
// A forecast that is less sure than this is no line worth drawing.
export const worstDrawnMag = 1.5;

export interface Drawn {
    curve: Curve | null;
    nights: NightRow[]; // until the curve is there
    rates: RateAnswer[];
    forecast: Forecast | null;
}

export function bandsOf(drawn: Drawn): string[] {
    const names = drawn.curve ? Object.keys(drawn.curve.points) : [...new Set(drawn.nights.map((row) => row.band))];
    return names.sort((a, b) => bandPlace(a) - bandPlace(b));
}

export function xAxis(state: CurveState, curve: Curve | null): XAxis {
    const maximum = curve?.maximum;
    if (state.axis === "days" && maximum) {
        return {
            kind: "days",
            zero: maximum.bjd_tdb,
            label: `Days since maximum in ${maximum.band}, ${withError(maximum.bjd_tdb, maximum.err_d, 1)}`,
        };
    }
    if (state.axis === "jd") return { kind: "jd", label: "BJD (TDB)" };
    return { kind: "date", label: "UTC date, and BJD (TDB)" };
}

export function chartData(drawn: Drawn, state: CurveState): ChartData {
    const bands = shownBands(state, bandsOf(drawn));
    const { curve } = drawn;
    const narrow = matchMedia("(max-width: 52rem)").matches;
    const series = bands.flatMap((band) => seriesOf(band, drawn, state));
    const lines: LineSeries[] = [];
    for (const band of bands) lines.push(...linesOf(band, drawn));
    const marks: Mark[] = curve?.maximum ? [{ x: curve.maximum.bjd_tdb, words: `maximum in ${curve.maximum.band}` }] : [];
    const panels: Panel[] = [
        {
            name: "Magnitude",
            unit: "mag",
            height: narrow ? narrowCurveHeight : curveHeight,
            inverted: true,
            leastSpan: 0.3,
            points: series,
            lines,
            marks,
        },
    ];
    if (state.residuals && curve) {
        panels.push({
            name: "Data − line",
            unit: "mag",
            height: residualHeight,
            inverted: true,
            include: [-0.03, 0.03],
            points: bands.flatMap((band) => residualsOf(band, curve, state)),
            levels: [{ y: 0, words: "" }],
        });
    }
    return { x: xAxis(state, curve), panels };
}

function seriesOf(band: string, drawn: Drawn, state: CurveState): PointSeries[] {
    const colour = `band-${bandPlace(band)}`;
    const shape = bandShape(band);
    const { curve } = drawn;
    if (!curve) {
        const rows = drawn.nights.filter((row) => row.band === band && (row.is_limit ? row.limit_mag : row.mag) !== null);
        return [{ name: band, shape, colour, points: rows.map(nightPoint) }];
    }
    const points = curve.points[band] ?? [];
    const own = points.filter((point) => point.series === 0);
    const series: PointSeries[] = own.length ? [{ name: band, shape, colour, points: own.map((p) => measured(band, p, curve)) }] : [];
    if (!state.others) return series;
    for (let k = 1; k < curve.series.length; k += 1) {
        const theirs = points.filter((point) => point.series === k);
        if (theirs.length)
            series.push({ name: `${band}, ${curve.series[k]}`, shape, colour, open: true, points: theirs.map((p) => measured(band, p, curve)) });
    }
    return series;
}

function nightPoint(row: NightRow): Point {
    const mag = (row.is_limit ? row.limit_mag : row.mag) ?? 0;
    const value = row.is_limit ? `fainter than ${mag.toFixed(2)} mag` : `${withError(mag, row.mag_err)} mag`;
    return { x: row.bjd_tdb, y: mag, err: row.mag_err, limit: row.is_limit, words: `${row.band}, night of ${row.night}: ${value}.` };
}

function measured(band: string, point: CurvePoint, curve: Curve): Point {
    return {
        x: point.bjd_tdb,
        y: point.mag,
        err: point.err_mag,
        limit: point.is_limit,
        crossed: point.outlier,
        words: wordsOf(band, point, curve),
        ...(point.night ? { link: `${point.night} ${band}` } : {}),
    };
}

function wordsOf(band: string, point: CurvePoint, curve: Curve): string {
    const when = point.mid_utc ? point.mid_utc.slice(0, 16).replace("T", " ") : civil(point.bjd_tdb);
    const value = point.is_limit ? `fainter than ${point.mag.toFixed(2)} mag` : `${withError(point.mag, point.err_mag)} mag`;
    const parts =
        point.random_err_mag !== null && point.common_err_mag && !point.is_limit
            ? ` (random ${point.random_err_mag.toFixed(3)}, common ${point.common_err_mag.toFixed(3)})`
            : "";
    const residual = point.residual_mag === null ? "" : `; ${signed(point.residual_mag)} mag from the line`;
    const who = point.series === 0 ? "" : `, ${curve.series[point.series] ?? "another observer"}`;
    const outlier = point.outlier ? "; an outlier, hardly counted" : "";
    return `${band}${who}, ${when} UTC, BJD ${point.bjd_tdb.toFixed(4)}: ${value}${parts}${residual}${outlier}.`;
}

function residualsOf(band: string, curve: Curve, state: CurveState): PointSeries[] {
    const colour = `band-${bandPlace(band)}`;
    const shape = bandShape(band);
    return curve.series.flatMap((name, k) => {
        if (k > 0 && !state.others) return [];
        const points = (curve.points[band] ?? []).filter((p) => p.series === k && p.residual_mag !== null && !p.is_limit);
        if (points.length === 0) return [];
        return [
            {
                name: k === 0 ? band : `${band}, ${name}`,
                shape,
                colour,
                open: k > 0,
                points: points.map((p) => ({ ...measured(band, p, curve), y: p.residual_mag ?? 0 })),
            },
        ];
    });
}

function linesOf(band: string, drawn: Drawn): LineSeries[] {
    const colour = `band-${bandPlace(band)}`;
    const dash = dashOf(bandPlace(band));
    const lines: LineSeries[] = [];
    const fit = drawn.curve?.lines[band] ?? [];
    if (fit.length) lines.push(lineOf(`${band}, fit`, colour, dash, fit));
    const rate = drawn.rates.find((one) => one.band === band);
    if (rate) lines.push({ ...lineOf(`${band}, rate of the interval`, "ember", [], rate.line), width: 2.4 });
    const ahead = (drawn.forecast?.bands[band]?.nights ?? []).filter((night) => (night.high_mag - night.low_mag) / 2 <= worstDrawnMag);
    if (ahead.length) {
        lines.push({
            name: `${band}, forecast`,
            colour,
            dash: [3, 4],
            x: ahead.map((night) => night.bjd_tdb),
            y: ahead.map((night) => night.mag),
            low: ahead.map((night) => night.low_mag),
            high: ahead.map((night) => night.high_mag),
        });
    }
    return lines;
}

function lineOf(name: string, colour: string, dash: readonly number[], points: { bjd_tdb: number; mag: number; err_mag: number }[]): LineSeries {
    return {
        name,
        colour,
        dash,
        x: points.map((p) => p.bjd_tdb),
        y: points.map((p) => p.mag),
        low: points.map((p) => p.mag - p.err_mag),
        high: points.map((p) => p.mag + p.err_mag),
    };
}
