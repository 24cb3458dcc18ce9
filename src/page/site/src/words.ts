// SPDX-License-Identifier: MIT
// Numbers, dates and plurals as the page writes them: a true minus sign, thin spaces, "13.728 ± 0.014".

const minus = "\u2212";
export const thin = "\u2009";

export type Maybe = number | null | undefined;

// A number with a fixed number of decimals; "–" where there is none.
export function fixed(value: Maybe, digits = 3): string {
    if (value === null || value === undefined || !Number.isFinite(value)) return "–";
    const text = Math.abs(value).toFixed(digits);
    return value < 0 && Number(text) !== 0 ? minus + text : text;
}

// The same with its sign always, for residuals.
export function signed(value: Maybe, digits = 3): string {
    const text = fixed(value, digits);
    return value !== null && value !== undefined && value > 0 && Number(text) !== 0 ? `+${text}` : text;
}

// "13.728 ± 0.014"
export function withError(value: Maybe, error: Maybe, digits = 3): string {
    if (value === null || value === undefined) return "–";
    if (error === null || error === undefined) return fixed(value, digits);
    return `${fixed(value, digits)}${thin}±${thin}${fixed(error, digits)}`;
}

// A magnitude, or "fainter than 17.21" where it is a limit.
export function magnitude(value: Maybe, error: Maybe, limit: Maybe = null): string {
    if (value !== null && value !== undefined) return withError(value, error);
    return limit === null || limit === undefined ? "–" : `>${thin}${fixed(limit, 2)}`;
}

export function count(n: number, one: string, many = `${one}s`): string {
    return `${n} ${n === 1 ? one : many}`;
}

const months = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"];

// "2024-03-18" → "18 March 2024"
export function day(night: string): string {
    const [year, month, date] = night.split("-").map(Number);
    const name = months[(month ?? 0) - 1];
    return name ? `${date} ${name} ${year}` : night;
}

// "2024-03-18" → "18 Mar 2024"
export function shortDay(night: string): string {
    return day(night).replace(/ ([A-Z][a-z]{2})[a-z]* /, " $1 ");
}

// "2024-03-18T21:04:05Z" → "21:04:05"; UTC stands in the column's head.
export function clock(utc: string | null | undefined): string {
    return utc ? utc.slice(11, 19) : "–";
}

// 75 → "75 s", 720 → "12 min", 7500 → "2 h 05 min"
export function duration(seconds: number): string {
    if (seconds < 90) return `${Math.round(seconds)}${thin}s`;
    const minutes = Math.round(seconds / 60);
    if (minutes < 90) return `${minutes}${thin}min`;
    return `${Math.floor(minutes / 60)}${thin}h ${String(minutes % 60).padStart(2, "0")}${thin}min`;
}

// As one word of a POSIX shell, as the program quotes it in its own commands.
export function shellWord(text: string): string {
    return /^[A-Za-z0-9_\-./:+,@%=]+$/.test(text) ? text : `'${text.replaceAll("'", "'\\''")}'`;
}

// What the tab is called: "13.728 ± 0.014 V - Emberline".
export function title(words: string): void {
    document.title = words ? `${words} - Emberline` : "Emberline";
}
