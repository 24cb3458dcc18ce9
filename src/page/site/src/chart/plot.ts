// SPDX-License-Identifier: MIT
// One panel: uPlot gives the axes, the scales and the canvas; paint.ts puts the marks on it.
import uPlot from "uplot";
import { tone } from "../theme";
import { heightOf, type Panel, type Range } from "./marks";
import { font, paintPanel, type Place } from "./paint";
import { decimalsOf, multiples, plain, roundStep, xTicks, type XAxis } from "./time_axis";

export interface PlotOptions {
    panel: () => Panel;
    axis: () => XAxis;
    range: () => Range;
    interval: Range | null; // drawn only where a picture is made; the page has handles of its own
    bottom: boolean; // has the words of x
    width: number;
    scale: number; // how much larger than on the page: 1, or 2 for a picture
}

const letter = 12;
const tickSpace = { date: 90, jd: 84, days: 56, plain: 56 };
const yTickSpace = 36;
const yTickSpaceLow = 24; // of a panel with little room
const lowPanel = 160;
const axisWidth = 52;
const labelHeight = 18;

export function plotHeight(panel: Panel, bottom: boolean, axis: XAxis): number {
    return panel.height + (bottom ? footHeight(axis) : 6);
}
function footHeight(axis: XAxis): number {
    return (axis.kind === "date" ? 44 : 28) + labelHeight;
}

export function makePlot(host: HTMLElement, options: PlotOptions): uPlot {
    const { scale } = options;
    const panel = options.panel();
    const axis = options.axis();
    const narrow = options.width / scale < 480;
    const y = heightOf(panel, options.range());
    const look = {
        font: `${letter * scale}px ${font}`,
        labelFont: `${letter * scale}px ${font}`,
        stroke: () => tone("ink"),
        grid: { stroke: () => tone("line"), width: scale },
        ticks: { stroke: () => tone("line"), width: scale, size: 4 * scale },
        gap: 4 * scale,
        labelSize: labelHeight * scale,
        labelGap: 0,
    };
    return new uPlot(
        {
            width: options.width,
            height: plotHeight(panel, options.bottom, axis) * scale,
            pxAlign: true,
            legend: { show: false },
            cursor: { show: false },
            padding: [8 * scale, (narrow ? 18 : 14) * scale, 0, 0],
            scales: {
                x: { time: false, auto: false, min: options.range()[0], max: options.range()[1] },
                y: { auto: false, min: y[0], max: y[1], dir: panel.inverted ? -1 : 1 },
            },
            series: [{}, { show: false }],
            axes: [
                {
                    ...look,
                    scale: "x",
                    side: 2,
                    size: (options.bottom ? footHeight(axis) - labelHeight : 6) * scale,
                    ...(options.bottom ? { label: axis.label } : { labelSize: 0 }),
                    lineGap: 1.3,
                    splits: (u, _axis, min, max) => xTicks(options.axis(), min, max, ticksFor(u, options)).at,
                    values: (u) => {
                        const [min, max] = [u.scales["x"]?.min ?? 0, u.scales["x"]?.max ?? 1];
                        const ticks = xTicks(options.axis(), min, max, ticksFor(u, options));
                        return options.bottom ? ticks.words : ticks.words.map(() => "");
                    },
                },
                {
                    ...look,
                    scale: "y",
                    side: 3,
                    size: axisWidth * scale,
                    label: panel.unit ? `${panel.name} (${panel.unit})` : panel.name,
                    splits: (u, _axis, min, max) => multiples(min, max, yStep(u, scale, max - min)),
                    values: (u, splits) => {
                        const step = yStep(u, scale, (u.scales["y"]?.max ?? 1) - (u.scales["y"]?.min ?? 0));
                        return splits.map((value) => plain(value, decimalsOf(step)));
                    },
                },
            ],
            hooks: { draw: [(u) => paintPanel(u.ctx, options.panel(), placeOf(u, options), options.interval)] },
        },
        [[0, 1], [null, null]],
        host,
    );
}

function ticksFor(u: uPlot, options: PlotOptions): number {
    return Math.max(2, Math.floor(u.bbox.width / uPlot.pxRatio / options.scale / tickSpace[options.axis().kind]));
}
function yStep(u: uPlot, scale: number, span: number): number {
    const height = u.bbox.height / uPlot.pxRatio / scale;
    return roundStep(span, Math.max(2, height / (height < lowPanel ? yTickSpaceLow : yTickSpace)));
}

export function placeOf(u: uPlot, options: PlotOptions): Place {
    const { left, top, width, height } = u.bbox;
    const [x, y] = [u.scales["x"], u.scales["y"]];
    return {
        left,
        top,
        width,
        height,
        x: [x?.min ?? 0, x?.max ?? 1],
        y: [y?.min ?? 0, y?.max ?? 1],
        inverted: options.panel().inverted ?? false,
        unit: uPlot.pxRatio * options.scale,
    };
}

export function fit(u: uPlot, panel: Panel, range: Range): void {
    const y = heightOf(panel, range);
    u.batch(() => {
        u.setScale("x", { min: range[0], max: range[1] });
        u.setScale("y", { min: y[0], max: y[1] });
    });
    u.redraw(false, true);
}
