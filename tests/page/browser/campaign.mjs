// SPDX-License-Identifier: MIT
// A rehearsed campaign, measured and served, for the tests in a browser.
import { execFileSync, spawn } from "node:child_process";
import { cpSync, mkdirSync, mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

export const program = process.env.EMBERLINE_PROGRAM;
if (!program) throw new Error("EMBERLINE_PROGRAM must name the program to test.");

// Standard output; exit status 1 (something was refused) is an answer too.
export function run(words, folder) {
    try {
        return execFileSync(program, words, { cwd: folder, encoding: "utf8", stdio: ["ignore", "pipe", "pipe"] });
    } catch (error) {
        if (error.status === 1) return error.stdout;
        throw new Error(`emberline ${words.join(" ")}: ${error.stderr}`);
    }
}

export class Campaign {
    constructor(options = []) {
        this.root = mkdtempSync(join(tmpdir(), "emberline-page-"));
        this.folder = join(this.root, "campaign");
        run(["rehearse", this.folder, "--quiet", ...options]);
    }
    measure() {
        run(["measure", "--quiet"], this.folder);
    }
    json(...words) {
        return JSON.parse(run([...words, "--json"], this.folder));
    }
    frames() {
        return readdirSync(join(this.folder, "frames"), { recursive: true }).filter((name) => name.endsWith(".fits")).sort();
    }
    // Out of the watched folder, to be copied back one by one.
    putAside(names) {
        const aside = join(this.root, "aside");
        mkdirSync(aside, { recursive: true });
        for (const name of names) {
            const flat = name.replaceAll("/", "_");
            cpSync(join(this.folder, "frames", name), join(aside, flat));
            rmSync(join(this.folder, "frames", name));
        }
        return (name) => cpSync(join(aside, name.replaceAll("/", "_")), join(this.folder, "frames", name));
    }
    async serve(port = "0") {
        this.process = spawn(program, ["page", "--port", port, "--json", "-c", this.folder], {
            stdio: ["ignore", "pipe", "pipe"],
        });
        let text = "";
        let errors = "";
        this.process.stderr.on("data", (data) => (errors += data));
        for await (const data of this.process.stdout) {
            text += data;
            if (text.trimEnd().endsWith("}")) break;
        }
        if (!text) throw new Error(`The page is not served: ${errors}`);
        Object.assign(this, JSON.parse(text));
        return this.link;
    }
    async stop() {
        if (!this.process || this.process.exitCode !== null) return;
        const ended = new Promise((resolve) => this.process.once("exit", resolve));
        this.process.kill("SIGINT");
        await ended;
    }
    async remove() {
        await this.stop();
        rmSync(this.root, { recursive: true, force: true });
    }
}
