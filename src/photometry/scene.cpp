// SPDX-License-Identifier: MIT
// Notation: x the light of the host's nodes and the transient's place; every frame's own unknowns (the
// transient's light, sky, shift, scale) are eliminated as its pixels come.
// Source: the scene as Holtzman et al. 2008 (AJ 136, 2306) and Astier et al. 2013 (A&A 557, A55) fit it, with
// a Gaussian process for the host; texture by marginal likelihood.
#include "photometry/scene.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

#include "numerics/robust.hpp"
#include "photometry/scene_flux.hpp"
#include "photometry/scene_frame.hpp"
#include "photometry/scene_prior.hpp"
#include "photometry/scene_zero.hpp"

namespace emberline::photometry {
namespace {

using numerics::Matrix;

constexpr double most_nodes = 380.0;
constexpr double radius_fwhm = 4.2;      // of the circle fitted
constexpr double beyond_fwhm = 1.3;      // nodes go on so far outside it
constexpr double nodes_a_fwhm = 1.6;     // of the sharpest frame
constexpr double place_err_fwhm = 0.15;  // how well a catalogue knows the transient's place
constexpr std::size_t most_frames = 40;  // that make the host; more hardly improve it
constexpr int passes = 3;
constexpr double fade_told = 0.7;     // of the zero's error left: worth telling
constexpr double odd_distrust = 4.0;  // variances of a frame multiplied by more: it is remarked
constexpr double on_nucleus_fwhm = 0.7;

struct Seeing {
    double best_arcsec = 0.0, median_arcsec = 0.0, half_arcsec = 0.0;
};

// Frames that can take part at all, judged before a grid exists.
Result<Seeing> seeing_of(const std::vector<SceneFrame>& frames) {
    std::vector<double> fwhm, half;
    for (const SceneFrame& frame : frames) {
        if (frame.around == nullptr || frame.around->psf.empty()) continue;
        const Surroundings& a = *frame.around;
        const auto psf = Psf::from_numbers(a.psf);
        const double scale = a.mean_px_per_arcsec();
        if (!psf || !(scale > 0.0) || !std::isfinite(scale)) continue;
        fwhm.push_back(psf->fwhm_px() / scale);
        const auto& b = a.cutout.box;
        const double x = std::max(a.transient.x - b.x0, b.x0 + b.width - 1 - a.transient.x);
        const double y = std::max(a.transient.y - b.y0, b.y0 + b.height - 1 - a.transient.y);
        half.push_back(std::min(x, y) / scale);
    }
    if (fwhm.empty()) {
        return fail(
            {.what = "None of the frames has a point-spread function.",
             .where = "scene",
             .mend = "Measure frames with enough stars for one, or use another method for the host."});
    }
    return Seeing{numerics::quantile(fwhm, 0.1), numerics::median(fwhm),
                  *std::max_element(half.begin(), half.end())};
}

SceneGrid make_grid(const Seeing& seeing, const std::optional<SkyShift>& nucleus) {
    SceneGrid grid;
    grid.fwhm_arcsec = seeing.median_arcsec;
    grid.spacing_arcsec = seeing.best_arcsec / nodes_a_fwhm;
    const double beyond = beyond_fwhm * seeing.median_arcsec;
    const double most = std::sqrt(most_nodes / std::numbers::pi) * grid.spacing_arcsec;
    double reach = std::min(std::min(radius_fwhm * seeing.median_arcsec, seeing.half_arcsec) + beyond, most);
    // With very unequal seeing the sharpest frames are sampled less finely rather than the circle cut small.
    const double least = 3.0 * seeing.median_arcsec + beyond;
    if (reach < least && seeing.half_arcsec + beyond > reach) {
        reach = std::min(least, seeing.half_arcsec + beyond);
        grid.spacing_arcsec = std::max(grid.spacing_arcsec, reach / std::sqrt(most_nodes / std::numbers::pi));
    }
    grid.radius_arcsec = reach - beyond;
    const double step = grid.spacing_arcsec;
    const double e0 = nucleus ? std::remainder(nucleus->east_arcsec, step) : 0.0;
    const double n0 = nucleus ? std::remainder(nucleus->north_arcsec, step) : 0.0;
    const int half = static_cast<int>(std::ceil(reach / step)) + 1;
    for (int j = -half; j <= half; ++j) {
        for (int i = -half; i <= half; ++i) {
            const SkyPoint p{e0 + i * step, n0 + j * step};
            if (std::hypot(p.east_arcsec, p.north_arcsec) <= reach) grid.nodes.push_back(p);
        }
    }
    return grid;
}

// The frames that say most about the host; those known to hold nothing else first.
void choose_for_host(std::vector<FrameScene>& frames) {
    std::vector<std::size_t> order(frames.size());
    for (std::size_t i = 0; i < order.size(); ++i)
        order[i] = i;
    const auto worth = [&](std::size_t i) {
        const FrameScene& f = frames[i];
        const double s = f.gain * f.frame->around->sky_scatter_adu;
        return f.scale * f.scale / (s * s * f.noise_area_px);
    };
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
        if (frames[a].frame->after_fade != frames[b].frame->after_fade) return frames[a].frame->after_fade;
        return worth(a) > worth(b);
    });
    for (std::size_t i = most_frames; i < order.size(); ++i)
        frames[order[i]].host_from_it = false;
}

struct Working {
    SceneGrid grid;
    HostShape shape;
    Texture texture;
    SkyPoint place;         // about which the place's unknowns count
    SkyPoint place_before;  // where the prior has it, beside that
    double place_err = 0.0;
    std::vector<Matrix> responses;  // one a frame that makes the host, else empty
    std::vector<numerics::EliminatedBlock> blocks;
    numerics::FieldPosterior field;
    double pixels = 0.0;
};

Result<numerics::NormalEquations> gather(std::vector<FrameScene>& frames, Working& w, bool movable) {
    numerics::SharedUnknowns shared(w.grid.nodes.size() + place_unknowns);
    w.pixels = 0.0;
    for (std::size_t i = 0; i < frames.size(); ++i) {
        FrameScene& f = frames[i];
        if (!f.host_from_it) continue;
        if (w.responses[i].rows() == 0) w.responses[i] = node_response(f, w.grid);
        point_images(f, w.place);
        if (movable && w.place_err > 0.0) add_place(f, w.responses[i]);
        auto block = shared.add(equations(f, w.responses[i], own_response(f, false), movable));
        if (!block) return fail(at(fmt::format("scene, frame {}", f.number + 1), block.error()));
        w.blocks[i] = std::move(*block);
        w.pixels += static_cast<double>(std::count(f.pixels.fitted.begin(), f.pixels.fitted.end(), true));
    }
    return numerics::NormalEquations{shared.normal(), shared.right()};
}

// A pixel far above all of the model, with the pixels beside it left alone, is a cosmic ray.
void judge_pixels(FrameScene& f, const std::vector<double>& rest, const std::vector<double>& model) {
    FramePixels& p = f.pixels;
    for (std::size_t i = 0; i < p.at.size(); ++i) {
        if (!p.defined[i]) continue;
        const double sigma = std::sqrt(p.variance_e2[i]);
        const double allowed =
            std::hypot(6.0 * sigma * std::sqrt(std::max(f.distrust, 1.0)), 0.15 * model[i]);
        if (rest[i] < allowed) continue;
        double beside = 0.0;
        int n = 0;
        for (const int b : p.beside[i]) {
            if (b < 0) continue;
            beside += std::max(rest[static_cast<std::size_t>(b)], 0.0);
            ++n;
        }
        if (n > 0 && rest[i] < 2.0 * beside / n) continue;
        p.fitted[i] = p.defined[i] = false;
        if (f.point[i] > 0.02) f.cosmic_on_transient = true;
    }
}

// Images of the last solution, residuals, and what they say of pixels and frames.
void review(std::vector<FrameScene>& frames, const Working& w, bool weigh) {
    const std::size_t nodes = w.grid.nodes.size();
    std::vector<double> reduced;
    for (std::size_t i = 0; i < frames.size(); ++i) {
        FrameScene& f = frames[i];
        if (!f.host_from_it) continue;
        std::vector<double> own = w.blocks[i].at_zero;
        const auto following = numerics::multiply(w.blocks[i].gain, w.field.mean);
        for (std::size_t j = 0; j < own_unknowns; ++j)
            own[j] -= following[j];
        const Matrix full = own_response(f, false);
        std::vector<double> all = numerics::multiply(w.responses[i], w.field.mean);
        const std::vector<double> made_good = shift_made_good(f);
        std::vector<double> host(all.size(), 0.0), rest(all.size(), 0.0);
        for (std::size_t p = 0; p < all.size(); ++p) {
            host[p] = all[p];
            for (std::size_t k = nodes; k < nodes + place_unknowns; ++k)
                host[p] -= w.responses[i](p, k) * w.field.mean[k];
            for (std::size_t j = 0; j < own_unknowns; ++j)
                all[p] += full(p, j) * own[j];
            all[p] += made_good[p];
            rest[p] = f.pixels.defined[p] ? f.pixels.light_e[p] - all[p] : 0.0;
        }
        f.host_e = std::move(host);
        std::copy(own.begin(), own.end(), f.own.begin());
        f.star_shift_px = {own[shift_x], own[shift_y]};
        f.chi2 = 0.0;
        f.dof = 0;
        for (std::size_t p = 0; p < all.size(); ++p) {
            if (!f.pixels.fitted[p]) continue;
            f.chi2 += rest[p] * rest[p] / f.pixels.variance_e2[p];
            ++f.dof;
        }
        if (!weigh) continue;
        judge_pixels(f, rest, all);
        const double s = f.gain * f.frame->around->sky_scatter_adu;
        for (std::size_t p = 0; p < all.size(); ++p)
            f.pixels.variance_e2[p] = s * s + std::max(all[p], 0.0);
        reduced.push_back(f.chi2 / static_cast<double>(std::max<std::size_t>(f.dof, 1)));
    }
    if (!weigh) return;
    const double usual = numerics::median(reduced);
    std::size_t at = 0;
    for (FrameScene& f : frames) {
        if (!f.host_from_it) continue;
        const double own = reduced[at++];
        // Frames that disagree with the others tell of themselves, not of the sky.
        f.distrust = std::max(1.0, own > 2.0 * std::max(usual, 1.0) ? own * own / std::max(usual, 1.0) : own);
    }
}

Result<void> learn_prior(Working& w, const numerics::WhitenedData& data,
                         const std::optional<SkyShift>& nucleus, bool textured) {
    const auto left =
        numerics::marginal_of_mean(data, prior_covariance(w.grid, w.shape, w.texture, w.place_err));
    if (!left) return fail(left.error());
    w.shape = fit_shape(w.grid, *left, nucleus, w.pixels);
    if (!textured) return {};
    const auto texture = fit_texture(w.grid, w.shape, data, w.texture, w.place_err, w.place_before);
    if (!texture) return fail(texture.error());
    w.texture = *texture;
    return {};
}

Result<void> solve(std::vector<FrameScene>& frames, Working& w, const SceneOptions& options) {
    const std::size_t nodes = w.grid.nodes.size();
    for (int pass = 0; pass < passes; ++pass) {
        const auto equations_of_all = gather(frames, w, pass > 0);
        if (!equations_of_all) return fail(equations_of_all.error());
        if (pass == 0) w.shape = fit_shape(w.grid, *equations_of_all, options.nucleus, w.pixels);
        const auto data = numerics::whitened(equations_of_all->normal, equations_of_all->right,
                                             prior_reach(w.shape, w.place_err));
        if (pass + 1 < passes) {
            if (auto known = learn_prior(w, data, options.nucleus, pass > 0); !known)
                return fail(known.error());
        }
        auto field = numerics::field_posterior(data, prior_mean(w.shape, w.place_before),
                                               prior_covariance(w.grid, w.shape, w.texture, w.place_err));
        if (!field) return fail(field.error());
        w.field = std::move(*field);
        if (pass + 1 == passes) break;
        review(frames, w, true);
        // The next pass counts the place from where this one has it.
        if (pass > 0) {
            const double east = w.field.mean[nodes], north = w.field.mean[nodes + 1];
            w.place = {w.place.east_arcsec + east, w.place.north_arcsec + north};
            w.place_before = {w.place_before.east_arcsec - east, w.place_before.north_arcsec - north};
        }
    }
    return {};
}

struct OwnLight {
    double light = 0.0, variance = 0.0;
};
OwnLight transient_of(const numerics::EliminatedBlock& block, const numerics::FieldPosterior& field) {
    std::vector<double> row(field.mean.size());
    for (std::size_t k = 0; k < row.size(); ++k)
        row[k] = block.gain(transient_light, k);
    double light = block.at_zero[transient_light];
    for (std::size_t k = 0; k < row.size(); ++k)
        light -= row[k] * field.mean[k];
    return {light, block.covariance(transient_light, transient_light) +
                       numerics::quadratic_form(field.covariance, row, row)};
}

// The direction in which the host can hide a point source, and how far.
void find_zero(const std::vector<FrameScene>& frames, const Working& w, SolvedScene& scene) {
    const std::size_t size = w.field.mean.size();
    scene.zero.assign(size, 0.0);
    double weight = 0.0;
    for (std::size_t i = 0; i < frames.size(); ++i) {
        const FrameScene& f = frames[i];
        if (!f.host_from_it || f.frame->after_fade) continue;
        const double info = f.scale * f.scale / w.blocks[i].covariance(transient_light, transient_light);
        for (std::size_t k = 0; k + place_unknowns < size; ++k)
            scene.zero[k] += info * w.blocks[i].gain(transient_light, k) / f.scale;
        weight += info;
    }
    scene.field_by_zero.assign(size, 0.0);
    if (!(weight > 0.0)) return;
    for (double& z : scene.zero)
        z /= weight;
    scene.field_by_zero = numerics::multiply(w.field.covariance, scene.zero);
    double variance = 0.0;
    for (std::size_t k = 0; k < size; ++k)
        variance += scene.zero[k] * scene.field_by_zero[k];
    scene.zero_err = std::sqrt(std::max(variance, 0.0));
    for (double& v : scene.field_by_zero)
        v = scene.zero_err > 0.0 ? v / scene.zero_err : 0.0;
}

void learn_from_fade(const std::vector<FrameScene>& frames, const Working& w, SolvedScene& scene) {
    std::vector<SceneLight> lights;
    for (std::size_t i = 0; i < frames.size(); ++i) {
        if (frames[i].frame->after_fade) continue;
        const OwnLight own = transient_of(w.blocks[i], w.field);
        double shared = 0.0;
        for (std::size_t k = 0; k < scene.field_by_zero.size(); ++k)
            shared += w.blocks[i].gain(transient_light, k) * scene.field_by_zero[k];
        const double variance = std::max(own.variance - shared * shared, 1e-3 * own.variance);
        lights.push_back({own.light / frames[i].scale, std::sqrt(variance) / frames[i].scale});
    }
    const auto shift = zero_by_fade(lights, scene.zero_err);
    if (!shift) return;
    scene.zero_shift_sigmas = shift->mean / scene.zero_err;
    scene.zero_err_left = shift->err / scene.zero_err;
}

std::vector<FrameScene> open_frames(const std::vector<SceneFrame>& frames, const SceneGrid& grid,
                                    std::vector<std::optional<Problem>>& troubles) {
    std::vector<FrameScene> out;
    troubles.resize(frames.size());
    for (std::size_t i = 0; i < frames.size(); ++i) {
        auto opened = open_frame(frames[i], i, grid);
        if (opened) {
            out.push_back(std::move(*opened));
        } else {
            troubles[i] = opened.error();
        }
    }
    return out;
}

// For frames beyond those that make the host: the second round has the first one's light in its slopes.
Result<numerics::EliminatedBlock> follow_host(FrameScene& f, Matrix& response, const Working& w) {
    response = node_response(f, w.grid);
    point_images(f, w.place);
    f.host_e = numerics::multiply(response, w.field.mean);
    const auto first =
        numerics::SharedUnknowns::eliminate(equations(f, response, own_response(f, false), true));
    if (!first) return first;
    f.own[transient_light] = transient_of(*first, w.field).light;
    if (w.place_err > 0.0) add_place(f, response);
    return numerics::SharedUnknowns::eliminate(equations(f, response, own_response(f, false), true));
}

void remark(const std::vector<FrameScene>& frames, const Working& w, const SolvedScene& scene,
            const SceneOptions& options, SceneFit& fit) {
    if (options.nucleus) {
        const double off = std::hypot(options.nucleus->east_arcsec - scene.place.east_arcsec,
                                      options.nucleus->north_arcsec - scene.place.north_arcsec);
        if (off < on_nucleus_fwhm * w.grid.fwhm_arcsec) {
            fit.remarks.push_back(
                fmt::format("The transient lies on the nucleus, {:.1f}″ from it at a seeing of {:.1f}″: only "
                            "frames without "
                            "the transient can tell the two apart.",
                            off, w.grid.fwhm_arcsec));
            for (HostLight& light : fit.lights)
                light.caveats.add(Caveat::on_nucleus);
        }
    }
    for (const FrameScene& f : frames) {
        if (f.distrust < odd_distrust) continue;
        fit.lights[f.number].remarks.push_back(fmt::format(
            "The frame disagrees with the scene of the others (chi² {:.1f} a pixel) and counts for less.",
            f.chi2 / static_cast<double>(std::max<std::size_t>(f.dof, 1))));
    }
    if (scene.zero_err_left < fade_told) {
        fit.remarks.push_back(fmt::format(
            "The fade tells how much of the light is host: the error of that is {:.0f} % of what it was.",
            100.0 * scene.zero_err_left));
    }
}

// What a frame that cannot take part gets: nothing, and why.
HostLight no_light(const SceneFrame& frame, const Problem& problem) {
    HostLight light;
    light.method = HostMethod::scene;
    const std::size_t n = frame.grid.radii_px.size();
    light.flux_e.assign(n, std::numeric_limits<double>::quiet_NaN());
    light.host_e = light.flux_e;
    light.variance_e2.assign(n, 0.0);
    light.common_err_e.assign(n, 0.0);
    light.remarks.push_back("Left out of the scene: " + one_line(problem));
    return light;
}

}  // namespace

Result<SceneFit> fit_scene(const std::vector<SceneFrame>& given, const SceneOptions& options) {
    const auto seeing = seeing_of(given);
    if (!seeing) return fail(seeing.error());
    Working w;
    w.grid = make_grid(*seeing, options.nucleus);
    w.texture = {.fraction = 0.15, .length_arcsec = 1.2 * w.grid.fwhm_arcsec};
    if (options.position) w.place = {options.position->east_arcsec, options.position->north_arcsec};
    w.place_err = options.position ? 0.0 : place_err_fwhm * w.grid.fwhm_arcsec;
    std::vector<std::optional<Problem>> troubles;
    std::vector<FrameScene> frames = open_frames(given, w.grid, troubles);
    if (frames.empty()) {
        for (const auto& trouble : troubles)
            if (trouble) return fail(*trouble);
    }
    choose_for_host(frames);
    w.responses.resize(frames.size());
    w.blocks.resize(frames.size());
    if (auto solved = solve(frames, w, options); !solved) return fail(solved.error());

    for (std::size_t i = 0; i < frames.size(); ++i) {
        if (frames[i].host_from_it) continue;
        Matrix response;
        auto block = follow_host(frames[i], response, w);
        if (!block) return fail(block.error());
        w.blocks[i] = std::move(*block);
    }
    SolvedScene scene{.field = w.field, .place = w.place};
    find_zero(frames, w, scene);
    learn_from_fade(frames, w, scene);

    SceneFit fit;
    fit.lights.resize(given.size());
    fit.models.resize(given.size());
    for (std::size_t i = 0; i < frames.size(); ++i) {
        FrameScene& f = frames[i];
        if (!f.host_from_it) {
            w.responses[i] = node_response(f, w.grid);
            if (w.place_err > 0.0) add_place(f, w.responses[i]);
        }
        FrameLights one = measure_frame(f, w.responses[i], own_response(f, false), own_response(f, true),
                                        w.blocks[i], scene);
        if (!f.host_from_it) w.responses[i] = {};
        fit.lights[f.number] = std::move(one.lights);
        fit.models[f.number] = std::move(one.model);
    }
    review(frames, w, false);
    for (const FrameScene& f : frames) {
        fit.chi2 += f.chi2;
        fit.pixels += f.dof;
    }
    for (std::size_t i = 0; i < given.size(); ++i) {
        if (!troubles[i]) continue;
        fit.lights[i] = no_light(given[i], *troubles[i]);
        if (given[i].around != nullptr) fit.models[i] = given[i].around->cutout;
        for (float& adu : fit.models[i].adu)
            adu = std::numeric_limits<float>::quiet_NaN();
    }
    const std::size_t nodes = w.grid.nodes.size();
    scene.place.east_arcsec += w.field.mean[nodes];
    scene.place.north_arcsec += w.field.mean[nodes + 1];
    fit.position = {scene.place.east_arcsec, scene.place.north_arcsec,
                    std::sqrt(std::max(0.0, 0.5 * (w.field.covariance(nodes, nodes) +
                                                   w.field.covariance(nodes + 1, nodes + 1))))};
    if (options.position) fit.position.err_arcsec = options.position->err_arcsec;
    fit.host_common_err = scene.zero_err * scene.zero_err_left;
    remark(frames, w, scene, options, fit);
    return fit;
}

}  // namespace emberline::photometry
