// SPDX-License-Identifier: MIT
// Runs before the first paint, so that a page that was left in night red never flashes white: it is the only script
// that holds up the page, and it is a file of its own because the page allows no inline script.
(function () {
    let kept = null;
    try {
        kept = localStorage.getItem("theme");
    } catch {
        // A browser that keeps nothing follows the system.
    }
    const dark = matchMedia("(prefers-color-scheme: dark)").matches;
    document.documentElement.dataset.theme = kept === "day" || kept === "night" ? kept : dark ? "night" : "day";
})();
