// SPDX-License-Identifier: MIT
// Three rooms of the installed library, asked for what is known beforehand.
#include <iostream>

#include "quantities/angle.hpp"
#include "sky/horizon.hpp"
#include "standard/sequence.hpp"

int main() {
    using namespace emberline;
    const auto overhead = sky::airmass(Angle::degrees(90.0));
    const auto sequence = standard::parse_sequence(
        "label,ra,dec,V,V_err,role\n126,13:25:21.12,+37:16:12.0,12.61,0.02,comparison\n", "here");
    if (!overhead || !sequence) return 1;
    std::cout << "airmass overhead " << *overhead << ", star " << sequence->stars.front().label << " at "
              << sequence->stars.front().position.ra.degrees() << " degrees\n";
}
