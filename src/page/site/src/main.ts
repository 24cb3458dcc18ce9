// SPDX-License-Identifier: MIT
import { enter } from "./api";
import { sayProblem } from "./notice";
import { Shell } from "./shell";

const shell = new Shell(document.getElementById("page")!);
enter()
    .catch(sayProblem)
    .finally(() => void shell.start());
