// SPDX-License-Identifier: MIT
#include "frame/wcs.hpp"

#include <fmt/format.h>
#include <wcslib/dis.h>
#include <wcslib/wcs.h>
#include <wcslib/wcshdr.h>

#include <algorithm>
#include <cmath>
#include <mutex>

#include "frame/lattice.hpp"
#include "frame/parse_header.hpp"
#include "frame/wcs_cards.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr double way_back_px = 0.01;  // a distortion's inverse that misses by more found a wrong root

// WCSLIB's header parsers keep state between calls in some versions.
std::mutex& parser_lock() {
    static std::mutex lock;
    return lock;
}

Problem unusable(std::string what, std::string where, std::string mend) {
    return {.what = std::move(what), .where = std::move(where), .mend = std::move(mend)};
}

constexpr const char* singular = "The plate solution cannot be used: its matrix is singular.";
constexpr const char* matrix_keywords = "keywords CD1_1 … CD2_2, or PC and CDELT";
constexpr double least_determinant = 1e-6;  // of the matrix's largest element, squared
constexpr const char* solve_it = "Solve the frame's plate first, so that its header has a celestial WCS.";

}  // namespace

struct Wcs::Impl {
    mutable wcsprm celestial{};  // two axes; WCSLIB's functions want it non-const
    mutable std::mutex lock;
    bool filled = false;
    double scale_arcsec = 0.0;
    bool mirrored = false;
    double east_by_px[2] = {}, north_by_px[2] = {};  // intermediate world coordinates, degrees
    std::string description;

    Impl() { celestial.flag = -1; }
    Impl(const Impl&) = delete;
    Impl& operator=(const Impl&) = delete;
    ~Impl() {
        if (filled) wcsfree(&celestial);
    }
};

namespace {

// All the representations of one header, freed together.
struct ParsedHeader {
    int count = 0;
    wcsprm* all = nullptr;
    ~ParsedHeader() {
        if (all != nullptr) wcsvfree(&count, &all);
    }
};

std::string lower_first(std::string text) {
    if (!text.empty()) text[0] = lower_case(text.substr(0, 1))[0];
    return text;
}

std::string describe(const wcsprm& wcs) {
    std::string text = std::string(wcs.ctype[wcs.lng]).substr(0, 8);
    text = text.size() >= 8 ? text.substr(5, 3) : text;
    if (wcs.lin.dispre != nullptr || wcs.lin.disseq != nullptr) {
        const disprm* distortion = wcs.lin.dispre != nullptr ? wcs.lin.dispre : wcs.lin.disseq;
        std::string kind = distortion->dtype != nullptr && distortion->dtype[0] != nullptr
                               ? std::string(distortion->dtype[0])
                               : std::string("polynomial");
        text += " with " + kind + " distortion";
    }
    return text;
}

}  // namespace

Result<Wcs> Wcs::parse(std::string_view cards) {
    auto text = wcs_cards(cards);
    if (!text) return fail(text.error());
    std::string& whole = *text;
    ParsedHeader parsed;
    auto impl = std::make_shared<Impl>();
    {
        const std::scoped_lock lock(parser_lock());
        int rejected = 0;
        const int status = wcspih(whole.data(), static_cast<int>(whole.size() / card_length), WCSHDR_all, 0,
                                  &rejected, &parsed.count, &parsed.all);
        if (status != 0 || parsed.count == 0) {
            return fail(unusable("The plate solution cannot be read.", "WCS keywords", solve_it));
        }
    }
    wcsprm& w = impl->celestial;
    const int copied = wcscopy(1, parsed.all, &w);
    impl->filled = true;
    const int set = copied != 0 ? copied : wcsset(&w);
    if (set != 0) {
        return fail(unusable(
            set == WCSERR_SINGULAR_MTX
                ? std::string(singular)
                : fmt::format("The plate solution cannot be used: {}.", lower_first(wcs_errmsg[set])),
            set == WCSERR_SINGULAR_MTX ? matrix_keywords : "WCS keywords", solve_it));
    }
    // Intermediate world coordinates by pixel, degrees: CD, or PC times CDELT.
    double cd[2][2] = {};
    double largest = 0.0;
    for (int i = 0; i < 2; ++i) {
        for (int j = 0; j < 2; ++j) {
            cd[i][j] = w.cdelt[i] * w.pc[i * 2 + j];
            largest = std::max(largest, std::abs(cd[i][j]));
        }
    }
    const double determinant = cd[w.lng][0] * cd[w.lat][1] - cd[w.lng][1] * cd[w.lat][0];
    if (!std::isfinite(determinant) || std::abs(determinant) < least_determinant * largest * largest) {
        return fail(unusable(singular, matrix_keywords, solve_it));
    }
    impl->scale_arcsec = std::sqrt(std::abs(determinant)) * 3600.0;
    impl->mirrored = determinant > 0.0;
    std::copy_n(cd[w.lng], 2, impl->east_by_px);
    std::copy_n(cd[w.lat], 2, impl->north_by_px);
    impl->description = describe(w);
    Wcs out;
    out.impl_ = std::move(impl);
    return out;
}

Result<PixelPosition> Wcs::pixel(const SkyPosition& position) const {
    double world[2] = {};
    wcsprm& w = impl_->celestial;
    world[w.lng] = position.ra.degrees();
    world[w.lat] = position.dec.degrees();
    double phi = 0.0, theta = 0.0, intermediate[2] = {}, pixel[2] = {};
    int bad = 0;
    int status = 0;
    {
        const std::scoped_lock lock(impl_->lock);
        status = wcss2p(&w, 1, 2, world, &phi, &theta, intermediate, pixel, &bad);
    }
    const PixelPosition found{pixel[0] - 1.0, pixel[1] - 1.0};
    if (status == 0 && std::isfinite(found.x) && std::isfinite(found.y)) {
        Wcs stored;
        stored.impl_ = impl_;
        if (const auto back = stored.sky(found)) {
            if (separation(*back, position).arcseconds() < way_back_px * impl_->scale_arcsec)
                return lattice_ ? lattice_->picture(found) : found;
        }
    }
    return fail(unusable(fmt::format("The plate solution does not reach {} {}.",
                                     sexagesimal_hours(position.ra, 1), sexagesimal_degrees(position.dec, 0)),
                         "WCS keywords", "Check the position, and that the solution belongs to this field."));
}

Result<SkyPosition> Wcs::sky(const PixelPosition& position) const {
    const PixelPosition stored = lattice_ ? lattice_->stored(position) : position;
    const double pixel[2] = {stored.x + 1.0, stored.y + 1.0};
    double phi = 0.0, theta = 0.0, intermediate[2] = {}, world[2] = {};
    int bad = 0;
    int status = 0;
    wcsprm& w = impl_->celestial;
    {
        const std::scoped_lock lock(impl_->lock);
        status = wcsp2s(&w, 1, 2, pixel, intermediate, &phi, &theta, world, &bad);
    }
    if (status == 0 && std::isfinite(world[0]) && std::isfinite(world[1])) {
        return SkyPosition{Angle::degrees(world[w.lng]).wrapped_positive(), Angle::degrees(world[w.lat])};
    }
    return fail(
        unusable(fmt::format("The plate solution has no sky at pixel ({:.1f}, {:.1f}).", stored.x, stored.y),
                 "WCS keywords", "The pixel lies outside the projection."));
}

Wcs Wcs::on(const Lattice& lattice) const {
    Wcs out;
    out.impl_ = impl_;
    out.lattice_ = std::make_shared<const Lattice>(lattice);
    return out;
}

double Wcs::scale_arcsec_per_px() const {
    return impl_->scale_arcsec * (lattice_ ? lattice_->pitch_px() : 1.0);
}
bool Wcs::mirrored() const {
    return impl_->mirrored;
}
Angle Wcs::position_angle_of_y() const {
    const double x = lattice_ ? lattice_->vx : 0.0, y = lattice_ ? lattice_->vy : 1.0;
    const double east = impl_->east_by_px[0] * x + impl_->east_by_px[1] * y;
    const double north = impl_->north_by_px[0] * x + impl_->north_by_px[1] * y;
    return Angle::radians(std::atan2(east + 0.0, north)).wrapped_positive();
}
const std::string& Wcs::description() const {
    return impl_->description;
}

}  // namespace emberline::frame
