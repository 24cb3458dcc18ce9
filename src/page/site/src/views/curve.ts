// SPDX-License-Identifier: MIT
import type { MakeView } from "../view";

export const curve: MakeView = () => ({ show: () => {}, refresh: () => {}, leave: () => {} });
