# SPDX-License-Identifier: MIT
# Installs the build into a folder of its own, builds the consumer against that and nothing else, and reads
# what it says. Variables: BUILD, SCRATCH, CONSUMER, COMPILER, FLAGS, BUILD_TYPE, GENERATOR, INCLUDEDIR, BINDIR.
function(run what)
    execute_process(COMMAND ${ARGN} RESULT_VARIABLE status OUTPUT_VARIABLE out ERROR_VARIABLE err)
    if(NOT status EQUAL 0)
        message(FATAL_ERROR "${what} failed (${status}).\n${out}\n${err}")
    endif()
    set(output "${out}" PARENT_SCOPE)
endfunction()

file(REMOVE_RECURSE ${SCRATCH})
set(prefix ${SCRATCH}/prefix)
run("Installing" ${CMAKE_COMMAND} --install ${BUILD} --prefix ${prefix})

# Public headers stand on public headers alone.
set(include_dir ${prefix}/${INCLUDEDIR}/emberline)
file(GLOB_RECURSE headers RELATIVE ${include_dir} ${include_dir}/*.hpp)
if(NOT headers)
    message(FATAL_ERROR "No header was installed below ${include_dir}.")
endif()
foreach(header IN LISTS headers)
    file(STRINGS ${include_dir}/${header} includes REGEX "^#include \"")
    foreach(line IN LISTS includes)
        string(REGEX REPLACE "^#include \"([^\"]+)\".*" "\\1" wanted "${line}")
        if(NOT EXISTS ${include_dir}/${wanted})
            message(SEND_ERROR "${header} is installed and includes ${wanted}, which is not.")
        endif()
    endforeach()
endforeach()

run("Configuring the consumer" ${CMAKE_COMMAND} -S ${CONSUMER} -B ${SCRATCH}/build -G ${GENERATOR}
    -DCMAKE_PREFIX_PATH=${prefix} -DCMAKE_CXX_COMPILER=${COMPILER} -DCMAKE_CXX_FLAGS=${FLAGS}
    -DCMAKE_BUILD_TYPE=${BUILD_TYPE} -DCMAKE_FIND_USE_PACKAGE_REGISTRY=OFF)
run("Building the consumer" ${CMAKE_COMMAND} --build ${SCRATCH}/build)
run("The consumer" ${SCRATCH}/build/consumer)
# The airmass overhead is 1 by definition (Young 1994 gives it to 1e-6, printed to six figures); 13h25m21.12s
# is 15 · 13.422533 = 201.338 degrees.
if(NOT output MATCHES "^airmass overhead 1, star 126 at 201\\.338 degrees\n$")
    message(FATAL_ERROR "The consumer said: ${output}")
endif()
run("A night measured by the consumer" ${SCRATCH}/build/consumer ${SCRATCH}/night)
if(NOT output MATCHES "^3 frames, the magnitude invented\n$")
    message(FATAL_ERROR "The consumer said of its night: ${output}")
endif()
foreach(file man/man1/emberline.1.gz man/man7/emberline-handbook.7.gz bash-completion/completions/emberline
             zsh/site-functions/_emberline fish/vendor_completions.d/emberline.fish doc/emberline/copyright
             doc/emberline/handbook.md doc/emberline/tables/bands.csv)
    if(NOT EXISTS ${prefix}/share/${file})
        message(SEND_ERROR "share/${file} was not installed.")
    endif()
endforeach()
run("The installed program" ${prefix}/${BINDIR}/emberline --help)
