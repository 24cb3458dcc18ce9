// SPDX-License-Identifier: MIT
import { defineConfig } from "vite";

// One script and one style sheet with names that do not change: the server says for how long they last.
// While the page itself is being worked on, `npm run dev` asks a running `emberline page` for its answers.
export default defineConfig({
    base: "/",
    build: {
        outDir: process.env.EMBERLINE_SITE_OUT ?? "dist",
        emptyOutDir: true,
        target: "es2022",
        modulePreload: false,
        assetsInlineLimit: 0,
        rollupOptions: {
            output: {
                entryFileNames: "page.js",
                chunkFileNames: "[name].js",
                assetFileNames: "[name][extname]",
            },
        },
    },
    server: { proxy: { "/api": { target: "http://127.0.0.1:8420", changeOrigin: true } } },
});
