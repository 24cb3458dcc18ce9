# SPDX-License-Identifier: MIT
# Turns a text table of data/ into a C++ constant, so that the program carries its data with it.
#   embed_text(<target> <file under data/> <constant name>)
function(embed_text target file name)
    set(input ${PROJECT_SOURCE_DIR}/data/${file})
    set(output ${CMAKE_CURRENT_BINARY_DIR}/embedded/${name}.hpp)
    set_property(DIRECTORY APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${input})
    file(READ ${input} text)
    file(CONFIGURE OUTPUT ${output} @ONLY
         CONTENT "#pragma once\n#include <string_view>\nnamespace emberline::embedded {\ninline constexpr std::string_view @name@ = R\"TABLE(@text@)TABLE\";\n}\n")
    target_include_directories(${target} PRIVATE ${CMAKE_CURRENT_BINARY_DIR})
endfunction()
