// SPDX-License-Identifier: MIT
// Day and night. Colours are CSS variables (styles.css); a canvas asks for them here and paints anew when they change.

export type Theme = "day" | "night";

const system = matchMedia("(prefers-color-scheme: dark)");
const listeners = new Set<() => void>();

function kept(): Theme | null {
    try {
        const value = localStorage.getItem("theme");
        return value === "day" || value === "night" ? value : null;
    } catch {
        return null;
    }
}

export function theme(): Theme {
    return document.documentElement.dataset["theme"] === "night" ? "night" : "day";
}

function wear(next: Theme): void {
    if (document.documentElement.dataset["theme"] === next) return;
    document.documentElement.dataset["theme"] = next;
    paintBands();
    listeners.forEach((listener) => listener());
}

// Chosen by the observer: remembered, and the system is not asked again.
export function setTheme(next: Theme): void {
    try {
        localStorage.setItem("theme", next);
    } catch {
        // Lasts until the page is left.
    }
    wear(next);
}

export function onTheme(listener: () => void): () => void {
    listeners.add(listener);
    return () => listeners.delete(listener);
}

system.addEventListener("change", () => {
    if (!kept()) wear(system.matches ? "night" : "day");
});
// Another window of the same page was switched.
addEventListener("storage", (event) => {
    const other = kept();
    if (event.key === "theme" && other) wear(other);
});

// The colour of a token now: "paper", "raised", "ink", "faint", "line", "slate", "ember", "band-0" …
export function tone(name: string): string {
    return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim() || "currentColor";
}

let bandColours: string[] = [];

// The bands' colours as the campaign gives them; by day each is darkened until it stands out from paper (3:1), by
// night they are reds of different brightness, and shape and dash tell them apart.
export function setBandColours(colours: string[]): void {
    bandColours = colours;
    paintBands();
}

const nightReds = ["#ff2414", "#c80a04", "#e61208", "#bc0606"];

function paintBands(): void {
    const night = theme() === "night";
    bandColours.forEach((colour, i) => {
        const shown = night ? nightReds[i % nightReds.length]! : darkened(colour);
        document.documentElement.style.setProperty(`--band-${i}`, shown);
    });
}

function channels(colour: string): [number, number, number] | null {
    const match = /^#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})$/i.exec(colour);
    return match ? [parseInt(match[1]!, 16), parseInt(match[2]!, 16), parseInt(match[3]!, 16)] : null;
}

// Relative luminance, WCAG 2.2.
function luminance(rgb: [number, number, number]): number {
    const [r, g, b] = rgb.map((value) => {
        const share = value / 255;
        return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
    }) as [number, number, number];
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

const leastContrast = 3.4;

function darkened(colour: string): string {
    let rgb = channels(colour);
    if (!rgb) return "#3b4a5a";
    const paper = channels(tone("paper")) ?? [255, 255, 255];
    while ((luminance(paper) + 0.05) / (luminance(rgb) + 0.05) < leastContrast) {
        rgb = rgb.map((value) => Math.floor(value * 0.94)) as [number, number, number];
    }
    return `#${rgb.map((value) => value.toString(16).padStart(2, "0")).join("")}`;
}
