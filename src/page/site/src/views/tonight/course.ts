// SPDX-License-Identifier: MIT
// How the night went: transparency, FWHM and sky against the same time, refused frames crossed out, flips marked.
import { bandPlace, bandShape } from "../../campaign";
import type { ChartData, Panel, Point } from "../../chart/marks";
import { fixed } from "../../words";
import { keyOf, type FrameOfNight, type Night } from "./night";

const panelHeight = 132;

export function courseData(night: Night, band: string | undefined): ChartData {
    const frames = night.frames.filter((frame) => !band || frame.band === band);
    const marks = night.flips
        .filter((flip) => !band || flip.band === band)
        .filter((flip, i, all) => all.findIndex((other) => Math.abs(other.jd_utc - flip.jd_utc) < 1e-3) === i)
        .map((flip) => ({ x: flip.jd_utc, words: "flip" }));
    const panel = (name: string, unit: string, decimals: number, value: (frame: FrameOfNight) => number | null, more: Partial<Panel>): Panel => ({
        name,
        unit,
        decimals,
        height: panelHeight,
        points: series(frames, name, unit, decimals, value),
        // Said once, on top.
        marks: name === "Transparency" ? marks : marks.map((mark) => ({ ...mark, words: "" })),
        ...more,
    });
    return {
        x: { kind: "date", label: "UTC" },
        panels: [
            panel("Transparency", "0–1", 2, (frame) => frame.transparency, { include: [1], leastSpan: 0.2 }),
            panel("FWHM", "arcsec", 2, (frame) => frame.fwhm_arcsec, { leastSpan: 1 }),
            panel("Sky", "mag/arcsec²", 2, (frame) => frame.sky_mag_per_arcsec2, { inverted: true, leastSpan: 0.4 }),
        ],
    };
}

function series(frames: FrameOfNight[], name: string, unit: string, decimals: number, value: (frame: FrameOfNight) => number | null) {
    const keys = [...new Set(frames.map(keyOf))];
    return keys.map((key) => {
        const own = frames.filter((frame) => keyOf(frame) === key);
        const band = own[0]!.band;
        return {
            name: band,
            shape: bandShape(band),
            colour: `band-${bandPlace(band)}`,
            points: own.flatMap((frame): Point[] => {
                const y = value(frame);
                if (y === null) return [];
                const refused = frame.used ? "" : ` Refused: ${frame.reason}.`;
                return [
                    {
                        x: frame.jd_utc,
                        y,
                        crossed: !frame.used,
                        words: `${frame.mid_utc.slice(11, 19)} UTC, ${frame.name}: ${name} ${fixed(y, decimals)} ${unit}.${refused}`,
                        link: frame.id,
                    },
                ];
            }),
        };
    });
}
