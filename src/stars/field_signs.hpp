// SPDX-License-Identifier: MIT
// stars/field_signs — what all detections of a frame say together: lines of light across it, trailed stars,
// stars that are seen twice. Private to this room.
#pragma once

#include "stars/detect.hpp"

namespace emberline::stars {

// Takes the pieces of lines across the picture out of `field.stars` and into `field.trails`.
void take_trails(DetectionField& field);
// Width, elongation and direction of the stars, whether all are drawn out, whether all are seen twice.
void judge_stars(DetectionField& field);

}  // namespace emberline::stars
