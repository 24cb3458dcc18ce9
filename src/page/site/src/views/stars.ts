// SPDX-License-Identifier: MIT
import type { MakeView } from "../view";

export const stars: MakeView = () => ({ show: () => {}, refresh: () => {}, leave: () => {} });
