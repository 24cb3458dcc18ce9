# SPDX-License-Identifier: MIT
# EMBERLINE_FUZZ: the targets of tests/fuzz become libFuzzer programs, and every room counts its edges for them.
option(EMBERLINE_FUZZ "Build the fuzzers of tests/fuzz (clang only)" OFF)
if(EMBERLINE_FUZZ)
    if(NOT CMAKE_CXX_COMPILER_ID STREQUAL "Clang")
        message(FATAL_ERROR "EMBERLINE_FUZZ needs clang, whose libFuzzer it is: run scripts/fuzz, or configure with "
                            "-DCMAKE_CXX_COMPILER=clang++.")
    endif()
    if(NOT EMBERLINE_SANITIZE)
        set(EMBERLINE_SANITIZE address,undefined)
    endif()
    if(NOT CMAKE_CXX_FLAGS MATCHES "fuzzer-no-link")
        string(APPEND CMAKE_CXX_FLAGS " -fsanitize=fuzzer-no-link")
    endif()
endif()
