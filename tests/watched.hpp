// SPDX-License-Identifier: MIT
// Whether a sanitizer watches this program. It then takes several times as long, and memory that was given
// back is kept aside: limits on time are widened, those on memory say that they are left out.
#pragma once

namespace emberline::testing {

#if defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define EMBERLINE_WATCHED true
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define EMBERLINE_WATCHED true
#endif
#ifndef EMBERLINE_WATCHED
#define EMBERLINE_WATCHED false
#endif

inline constexpr bool watched = EMBERLINE_WATCHED;
inline constexpr int watched_slowdown = watched ? 20 : 1;

}  // namespace emberline::testing
