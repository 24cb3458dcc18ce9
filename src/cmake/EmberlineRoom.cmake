# SPDX-License-Identifier: MIT
# A room of the house: one folder, one static library, one namespace, one alias.
#
#   emberline_room(photometry SOURCES aperture_sum.cpp … NEEDS stars … PRIVATE lib …)
#
# NEEDS are rooms further up the path of the light, PRIVATE the outside libraries that only this room's
# sources see. PRECOMPILE are headers compiled once for it beside those of every room, LIKE a room whose precompiled
# headers it shares. What a room's headers show (fmt and tl::expected, as vocabulary) comes with quantities.

# Designated initialisers leave members at their defaults on purpose, hence no warning for that; -Wrestrict of
# GCC 12 warns of std::string's own operator+ (GCC bug 105651).
add_library(emberline_compile_options INTERFACE)
target_compile_features(emberline_compile_options INTERFACE cxx_std_20)
target_compile_options(
    emberline_compile_options
    INTERFACE -Wall -Wextra -Wpedantic -Wshadow -Wnon-virtual-dtor -Woverloaded-virtual -Wdouble-promotion
              -Wno-missing-field-initializers
              $<$<CXX_COMPILER_ID:GNU>:-Wno-restrict> $<$<BOOL:${EMBERLINE_WARNINGS_AS_ERRORS}>:-Werror>)
# What no sanitizer sees: an empty optional that is read, an index beyond a vector's end but within its room.
target_compile_definitions(emberline_compile_options INTERFACE $<$<CONFIG:Debug>:_GLIBCXX_ASSERTIONS>)
if(EMBERLINE_SANITIZE)
    target_compile_options(emberline_compile_options
                           INTERFACE -fsanitize=${EMBERLINE_SANITIZE} -fno-omit-frame-pointer
                                     -fno-sanitize-recover=all)
    target_link_options(emberline_compile_options INTERFACE -fsanitize=${EMBERLINE_SANITIZE})
endif()

function(emberline_room name)
    cmake_parse_arguments(ROOM "" "LIKE" "SOURCES;NEEDS;PRIVATE;PUBLIC;PRECOMPILE" ${ARGN})
    add_library(emberline_${name} STATIC ${ROOM_SOURCES})
    add_library(emberline::${name} ALIAS emberline_${name})
    set_target_properties(emberline_${name} PROPERTIES EXPORT_NAME ${name} POSITION_INDEPENDENT_CODE ON)
    target_compile_features(emberline_${name} PUBLIC cxx_std_20)
    target_include_directories(
        emberline_${name} PUBLIC $<BUILD_INTERFACE:${PROJECT_SOURCE_DIR}/src>
                                 $<INSTALL_INTERFACE:${CMAKE_INSTALL_INCLUDEDIR}/emberline>)
    foreach(room IN LISTS ROOM_NEEDS)
        target_link_libraries(emberline_${name} PUBLIC emberline_${room})
    endforeach()
    target_link_libraries(emberline_${name} PUBLIC ${ROOM_PUBLIC}
                          PRIVATE ${ROOM_PRIVATE} $<BUILD_INTERFACE:emberline_compile_options>)
    # What every room includes is compiled once, with the first of them. Where std::string's header was compiled before,
    # GCC 12 warns of overruns in std::string itself (bug 105651): a build without says what is true.
    if(NOT CMAKE_DISABLE_PRECOMPILE_HEADERS)
        target_compile_options(emberline_${name} PRIVATE $<$<CXX_COMPILER_ID:GNU>:-Wno-array-bounds>
                                                         $<$<CXX_COMPILER_ID:GNU>:-Wno-stringop-overflow> $<$<CXX_COMPILER_ID:GNU>:-Wno-stringop-overread>)
    endif()
    if(name STREQUAL "quantities" OR ROOM_PRECOMPILE)
        target_precompile_headers(emberline_${name} PRIVATE <fmt/format.h> <tl/expected.hpp> <algorithm> <cmath> <functional>
                                  <map> <optional> <set> <string> <string_view> <vector> ${ROOM_PRECOMPILE})
    elseif(ROOM_LIKE)
        target_precompile_headers(emberline_${name} REUSE_FROM emberline_${ROOM_LIKE})
    else()
        target_precompile_headers(emberline_${name} REUSE_FROM emberline_quantities)
    endif()
    set_property(GLOBAL APPEND PROPERTY EMBERLINE_ROOMS emberline_${name})
endfunction()

# EMBERLINE_TOGETHER: sources of rooms that spend their compiler's time on the same large headers are compiled five
# at a time. Only for a build from nothing: one source changed compiles five, and an include that one of them lacks
# stays unseen, which every other build tells.
option(EMBERLINE_TOGETHER "Compile the sources of some rooms several at a time" OFF)
function(emberline_together target)
    if(EMBERLINE_TOGETHER)
        set_target_properties(${target} PROPERTIES UNITY_BUILD ON UNITY_BUILD_BATCH_SIZE 5)
    endif()
endfunction()
