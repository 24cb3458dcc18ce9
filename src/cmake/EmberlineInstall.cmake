# SPDX-License-Identifier: MIT
# What an outsider gets: the libraries, the headers named here, and find_package(emberline).
# Headers lie in include/emberline/<room>/ with include/emberline on the path, since sources write
# "room/file.hpp". A header listed here may include only headers listed here; tests/package sees to it.
include(CMakePackageConfigHelpers)

set(public_headers
    quantities/angle.hpp quantities/band.hpp quantities/caveat.hpp quantities/delimited_table.hpp
    quantities/instant.hpp quantities/line_reader.hpp quantities/magnitude.hpp quantities/nearest_word.hpp quantities/new_file.hpp quantities/problem.hpp quantities/sky_position.hpp quantities/software.hpp
    quantities/text.hpp quantities/value_with_error.hpp
    numerics/chain_diagnosis.hpp numerics/ensemble_sampler.hpp numerics/least_squares.hpp numerics/matrix.hpp numerics/random.hpp
    numerics/robust.hpp
    sky/barycentre.hpp sky/horizon.hpp sky/night_calendar.hpp sky/precession.hpp sky/proper_motion.hpp sky/site.hpp sky/time_scales.hpp
    frame/calibration.hpp frame/frame.hpp frame/frame_facts.hpp frame/header.hpp frame/instrument.hpp frame/lattice.hpp frame/pixels.hpp frame/wcs.hpp
    frame/table_writer.hpp frame/write_frame.hpp
    stars/centroid.hpp stars/detect.hpp stars/fit_plate.hpp stars/plate_polynomial.hpp stars/plate_stars.hpp stars/profile.hpp stars/registration.hpp
    stars/solve_plate.hpp
    photometry/aperture_sum.hpp photometry/circle_pixel.hpp photometry/growth.hpp photometry/local_sky.hpp
    photometry/noise.hpp photometry/frame_record.hpp photometry/star_flux.hpp
    photometry/build_psf.hpp photometry/host_light.hpp photometry/pixel_noise.hpp photometry/psf.hpp
    photometry/psf_fit.hpp photometry/scene.hpp photometry/smooth_host.hpp
    standard/choose_sequence.hpp standard/colour_equations.hpp standard/field_catalogue.hpp standard/photometric_catalogue.hpp standard/sequence.hpp standard/star_neighbours.hpp standard/transformation.hpp standard/zero_points.hpp
    night/audit_sequence.hpp night/audited_star.hpp night/removal_effect.hpp night/campaign.hpp night/combine_frames.hpp night/frame_doubts.hpp night/judge_night.hpp night/look_at_star.hpp night/plate_finder.hpp night/position_slip.hpp night/host_template.hpp night/mean_place.hpp night/measure_frame.hpp night/measurement.hpp night/night_so_far.hpp night/remove_host.hpp night/server_settings.hpp night/site_doubt.hpp night/solution.hpp night/star_residuals.hpp
    night/solve_campaign.hpp night/stack_template.hpp night/standard_field.hpp
    rehearsal/invented_campaign.hpp rehearsal/invented_host.hpp rehearsal/invented_instrument.hpp
    rehearsal/invented_sky.hpp rehearsal/invented_template.hpp rehearsal/processed_save.hpp
    rehearsal/stack_options.hpp rehearsal/star_troubles.hpp
    rehearsal/field_troubles.hpp rehearsal/plate.hpp rehearsal/rehearse.hpp
    ledger/ledger.hpp
    lightcurve/analysis.hpp lightcurve/choose_model.hpp lightcurve/colour_curve.hpp lightcurve/extinction.hpp
    lightcurve/figures.hpp lightcurve/fit.hpp lightcurve/forecast.hpp lightcurve/gaussian_process.hpp
    lightcurve/light_curve.hpp lightcurve/luminosity.hpp lightcurve/merge_series.hpp lightcurve/model.hpp
    lightcurve/posterior.hpp lightcurve/prediction.hpp lightcurve/profile.hpp lightcurve/sample_fit.hpp
    lightcurve/scatter_errors.hpp lightcurve/shape_hint.hpp
    exchange/finding.hpp exchange/fits_table.hpp exchange/network_lines.hpp exchange/network_report.hpp exchange/observer_code.hpp exchange/series.hpp exchange/server_report.hpp exchange/table_check.hpp exchange/table_columns.hpp exchange/tables.hpp
    picture/curve_picture.hpp picture/finder_chart.hpp picture/host_picture.hpp
    page/page_settings.hpp page/server.hpp
    tasks/audit_sequence.hpp tasks/build_sequence.hpp tasks/check_campaign.hpp tasks/curve.hpp tasks/export_table.hpp tasks/find_files.hpp tasks/find_measured.hpp tasks/host_rows.hpp tasks/inspect.hpp tasks/look.hpp tasks/make_template.hpp
    tasks/measure.hpp
    tasks/new_campaign.hpp tasks/night_course.hpp tasks/night_sheet.hpp tasks/nights.hpp tasks/report.hpp tasks/set_aside.hpp tasks/solve_frames.hpp tasks/star_course.hpp tasks/take_back_report.hpp tasks/transient_place.hpp tasks/try_set_aside.hpp tasks/watch.hpp tasks/workspace.hpp)
foreach(header IN LISTS public_headers)
    get_filename_component(room ${header} DIRECTORY)
    install(FILES ${PROJECT_SOURCE_DIR}/src/${header} DESTINATION ${CMAKE_INSTALL_INCLUDEDIR}/emberline/${room}
            COMPONENT development)
endforeach()

# All rooms as one.
get_property(rooms GLOBAL PROPERTY EMBERLINE_ROOMS)
add_library(emberline_all INTERFACE)
add_library(emberline::emberline ALIAS emberline_all)
set_target_properties(emberline_all PROPERTIES EXPORT_NAME emberline)
target_link_libraries(emberline_all INTERFACE ${rooms})

set(package_dir ${CMAKE_INSTALL_LIBDIR}/cmake/emberline)
install(TARGETS emberline_all ${rooms} EXPORT emberlineTargets ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR}
        COMPONENT development)
install(EXPORT emberlineTargets NAMESPACE emberline:: DESTINATION ${package_dir} COMPONENT development)
configure_package_config_file(${CMAKE_CURRENT_LIST_DIR}/emberlineConfig.cmake.in
                              ${PROJECT_BINARY_DIR}/emberlineConfig.cmake INSTALL_DESTINATION ${package_dir})
write_basic_package_version_file(${PROJECT_BINARY_DIR}/emberlineConfigVersion.cmake
                                 COMPATIBILITY SameMinorVersion)
install(FILES ${PROJECT_BINARY_DIR}/emberlineConfig.cmake ${PROJECT_BINARY_DIR}/emberlineConfigVersion.cmake
        DESTINATION ${package_dir} COMPONENT development)

# To read: the handbook, and the tables that the program carries.
install(FILES ${PROJECT_SOURCE_DIR}/data/handbook.md ${PROJECT_SOURCE_DIR}/data/lightcurve.png
        DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/emberline COMPONENT program)
file(GLOB tables ${PROJECT_SOURCE_DIR}/data/*.csv)
install(FILES ${tables} ${PROJECT_SOURCE_DIR}/data/references.bib
        DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/emberline/tables COMPONENT program)
include(EmberlineWords)
if(PROJECT_IS_TOP_LEVEL)
    include(EmberlinePackage)
endif()
