# SPDX-License-Identifier: MIT
# The page's own files (src/page/site) are built by npm, in the build folder, and put into the library. Without npm,
# or where its registry cannot be reached, the library carries none, and `emberline page` says how to get them.
option(EMBERLINE_SITE "Build the files of the local web page with npm, where it is there" ON)

function(emberline_site target)
    find_program(EMBERLINE_NPM npm)
    set(site ${CMAKE_CURRENT_SOURCE_DIR}/site)
    set(work ${CMAKE_CURRENT_BINARY_DIR}/site)
    set(output ${CMAKE_CURRENT_BINARY_DIR}/embedded/site_data.cpp)
    file(GLOB_RECURSE sources CONFIGURE_DEPENDS ${site}/src/* ${site}/public/*)
    list(APPEND sources ${site}/index.html ${site}/package.json ${site}/package-lock.json ${site}/tsconfig.json
         ${site}/vite.config.ts)
    set(npm "")
    if(EMBERLINE_SITE AND EMBERLINE_NPM)
        set(npm ${EMBERLINE_NPM})
        # Once the registry could not be reached: whoever builds again may be back in the network.
        if(EXISTS ${work}/not_fetched.txt)
            file(REMOVE ${output})
        endif()
    else()
        message(STATUS "The local web page is left out: npm is not used. Install nodejs and npm to have it.")
    endif()
    add_custom_command(
        OUTPUT ${output}
        COMMAND ${CMAKE_COMMAND} -DSITE=${site} -DWORK=${work} -DNPM=${npm} -DOUTPUT=${output} -P
                ${PROJECT_SOURCE_DIR}/src/cmake/EmbedSite.cmake
        DEPENDS ${sources} ${PROJECT_SOURCE_DIR}/src/cmake/EmbedSite.cmake
        COMMENT "Building the page's own files"
        VERBATIM)
    target_sources(${target} PRIVATE ${output})
    # Its literals are longer than compilers need to take; those that build this take them.
    set_source_files_properties(${output} PROPERTIES SKIP_PRECOMPILE_HEADERS ON SKIP_UNITY_BUILD_INCLUSION ON
                                                     COMPILE_OPTIONS -Wno-overlength-strings)
endfunction()
