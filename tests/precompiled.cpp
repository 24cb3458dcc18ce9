// SPDX-License-Identifier: MIT
// Carries the headers that all tests share: see CMakeLists.txt.
