# SPDX-License-Identifier: MIT
# `cpack -G DEB` in the build folder makes two Debian packages: the program, small and with what it needs to run; and
# the library with its headers, for whoever writes programs with it, which pulls in all the libraries behind it.
set(CPACK_PACKAGE_NAME emberline)
set(CPACK_PACKAGE_VENDOR "The Emberline developers")
set(CPACK_PACKAGE_CONTACT "Emberline developers <developers@emberline.example.org>")
set(CPACK_PACKAGE_VERSION ${PROJECT_VERSION})
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_COMPONENTS_ALL program development)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ GROUP_EXECUTE WORLD_READ
                                                WORLD_EXECUTE)

set(CPACK_DEBIAN_PROGRAM_PACKAGE_NAME emberline)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_RECOMMENDS "gnuplot-nox | gnuplot, fonts-dejavu-core")
set(CPACK_COMPONENT_PROGRAM_DESCRIPTION "Emberline takes the FITS frames that a small telescope took of a fading
supernova, with or without a plate solution, and turns them into magnitudes
with an honest uncertainty. It keeps every night in one ledger, takes the
host galaxy's light away, watches the comparison stars, fits and draws the
light curve, forecasts the coming nights, and writes the reports that
variable-star networks accept. A local web page shows the night as it goes.")

set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_NAME libemberline-dev)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_SECTION libdevel)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_DEPENDS
    "libcfitsio-dev, libcpp-httplib-dev, libeigen3-dev, liberfa-dev, libexpected-dev, libfmt-dev, libpugixml-dev, \
libsqlite3-dev, libtomlplusplus-dev, nlohmann-json3-dev, pkg-config, wcslib-dev, zlib1g-dev")
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_SUGGESTS "emberline, cmake, g++")
set(CPACK_COMPONENT_DEVELOPMENT_DESCRIPTION "The static libraries and headers behind the program emberline: frames and
their headers, plate solutions, aperture and PSF photometry, zero points from
comparison stars, the ledger, light curves and the formats of reports, for
C++20 programs that find them with CMake's find_package(emberline).")
include(CPack)
