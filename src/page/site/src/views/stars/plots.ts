// SPDX-License-Identifier: MIT
// Residuals over the nights, every star with the chosen one standing out; and over the frames of the chosen star.
import type { ChartData, PointSeries } from "../../chart";
import { jdOfDate } from "../../chart/time_axis";
import { clock, day, signed } from "../../words";
import { bandOf, keyOf, shapeOf, type Star, type StarFrames } from "./star";

const leastSpan = 0.04;

export function nightsData(stars: Star[], key: string, chosen: string | undefined): ChartData {
    // The chosen star last, so that it lies on top.
    // One that is set aside may be far out, and would flatten the others: it is shown when it is chosen.
    const ordered = stars.filter((star) => !star.set_aside || star.label === chosen).sort((a, b) => Number(a.label === chosen) - Number(b.label === chosen));
    const own = ordered.find((star) => star.label === chosen);
    const nights = (own && bandOf(own, key)?.nights) ?? [];
    return {
        x: { kind: "date", label: "Night" },
        panels: [
            {
                name: "Measured − catalogue",
                unit: "mag",
                height: 260,
                inverted: true,
                decimals: 3,
                leastSpan,
                include: [0],
                points: ordered.map((star) => seriesOf(star, key, star.label === chosen)),
                lines: nights.length > 1 ? [{ name: `Star ${chosen}`, colour: "ink", width: 1.6, x: nights.map((one) => placeOf(one.night)), y: nights.map((one) => one.residual_mag) }] : [],
                levels: [{ y: 0, words: "catalogue" }],
            },
        ],
    };
}

function seriesOf(star: Star, key: string, chosen: boolean): PointSeries {
    const nights = bandOf(star, key)?.nights ?? [];
    return {
        name: `Star ${star.label}`,
        shape: shapeOf(star),
        colour: chosen ? "ink" : star.role === "check" ? "slate" : "edge",
        open: !chosen,
        points: nights.map((one) => ({
            x: placeOf(one.night),
            y: one.residual_mag,
            err: chosen ? one.err_mag : null,
            crossed: star.set_aside !== null,
            words: `Star ${star.label}, ${day(one.night)}: ${signed(one.residual_mag)} ± ${one.err_mag.toFixed(3)} mag from ${one.frames} frames${star.set_aside ? ", set aside" : ""}.`,
            link: star.label,
        })),
    };
}

function placeOf(night: string): number {
    return jdOfDate(new Date(`${night}T00:00:00Z`));
}

export function framesData(star: Star, key: string, given: StarFrames): ChartData {
    const frames = given.bands.find((band) => keyOf(band) === key)?.frames ?? [];
    return {
        x: { kind: "date", label: "UTC" },
        panels: [
            {
                name: "Measured − catalogue",
                unit: "mag",
                height: 220,
                inverted: true,
                decimals: 3,
                leastSpan,
                include: [0],
                points: [
                    {
                        name: `Star ${star.label}, frame by frame`,
                        shape: shapeOf(star),
                        colour: "slate",
                        points: frames.map((frame) => ({
                            x: frame.jd_utc,
                            y: frame.residual_mag,
                            err: frame.err_mag,
                            crossed: !frame.used,
                            words: `${day(frame.night)}, ${clock(frame.mid_utc)} UTC: ${signed(frame.residual_mag)} ± ${frame.err_mag.toFixed(3)} mag${frame.used ? "" : ", frame not used"}.`,
                            link: frame.id,
                        })),
                    },
                ],
                levels: [{ y: 0, words: "catalogue" }],
            },
        ],
    };
}
