// SPDX-License-Identifier: MIT
// The chart as a PNG file, twice as fine as on a plain screen, with its title and what its marks mean.
import uPlot from "uplot";
import { h } from "../dom";
import { tone } from "../theme";
import type { ChartData, Range } from "./marks";
import { font } from "./paint";
import { makePlot } from "./plot";
import { tracePoint } from "./shapes";

const fineness = 2;

export async function pictureOf(data: ChartData, range: Range, interval: Range | null, width: number, title: string): Promise<Blob> {
    const scale = fineness / uPlot.pxRatio;
    const bench = h("div", { "aria-hidden": "true" });
    bench.style.cssText = "position:fixed;left:-100000px;top:0";
    document.body.append(bench);
    const plots = data.panels.map((_, i) =>
        makePlot(bench, {
            panel: () => data.panels[i]!,
            axis: () => data.x,
            range: () => range,
            interval,
            bottom: i === data.panels.length - 1,
            width: width * scale,
            scale,
        }),
    );
    // uPlot draws in a microtask of its own.
    await new Promise((done) => setTimeout(done));
    const canvases = plots.map((plot) => plot.ctx.canvas);
    const head = 62 * fineness;
    const sheet = document.createElement("canvas");
    sheet.width = Math.max(...canvases.map((canvas) => canvas.width));
    sheet.height = head + canvases.reduce((sum, canvas) => sum + canvas.height, 0);
    const ctx = sheet.getContext("2d")!;
    ctx.fillStyle = tone("paper");
    ctx.fillRect(0, 0, sheet.width, sheet.height);
    ctx.fillStyle = tone("ink");
    ctx.font = `600 ${16 * fineness}px ${font}`;
    ctx.fillText(title, 14 * fineness, 26 * fineness, sheet.width - 28 * fineness);
    paintMeaning(ctx, data);
    let top = head;
    for (const canvas of canvases) {
        ctx.drawImage(canvas, 0, top);
        top += canvas.height;
    }
    plots.forEach((plot) => plot.destroy());
    bench.remove();
    return new Promise((done, fail) => sheet.toBlob((blob) => (blob ? done(blob) : fail(new Error("The picture cannot be made."))), "image/png"));
}

function paintMeaning(ctx: CanvasRenderingContext2D, data: ChartData): void {
    ctx.font = `${12 * fineness}px ${font}`;
    let x = 20 * fineness;
    const y = 48 * fineness;
    const told = new Set<string>();
    for (const series of data.panels.flatMap((panel) => panel.points)) {
        if (told.has(series.name)) continue;
        told.add(series.name);
        ctx.beginPath();
        tracePoint(ctx, series.shape, x, y - 4 * fineness, 4.2 * fineness);
        ctx.strokeStyle = tone(series.colour);
        ctx.fillStyle = tone(series.open ? "paper" : series.colour);
        ctx.lineWidth = 1.4 * fineness;
        ctx.fill();
        ctx.stroke();
        ctx.fillStyle = tone("ink");
        ctx.fillText(series.name, x + 10 * fineness, y);
        x += ctx.measureText(series.name).width + 34 * fineness;
    }
}
