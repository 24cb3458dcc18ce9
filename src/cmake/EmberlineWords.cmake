# SPDX-License-Identifier: MIT
# Man pages and completions of the shells. What they say of commands and options is asked of the program itself when it
# is built, so that it cannot be out of date; data/package/emberline.1.in and data/handbook.md hold the rest.
set(words_dir ${PROJECT_BINARY_DIR}/words)
find_program(EMBERLINE_AWK NAMES mawk gawk awk)
find_program(EMBERLINE_GZIP gzip)
if(NOT EMBERLINE_AWK OR NOT EMBERLINE_GZIP OR (CMAKE_CROSSCOMPILING AND NOT CMAKE_CROSSCOMPILING_EMULATOR))
    message(STATUS "Man pages and completions are left out: they need awk, gzip, and a program that runs here.")
    return()
endif()
set(words_sources ${PROJECT_SOURCE_DIR}/data/handbook.md ${PROJECT_SOURCE_DIR}/data/package/emberline.1.in
                  ${PROJECT_SOURCE_DIR}/data/package/changelog)
add_custom_command(
    OUTPUT ${words_dir}/emberline.1.gz ${words_dir}/emberline-handbook.7.gz ${words_dir}/changelog.gz
           ${words_dir}/bash/emberline ${words_dir}/zsh/_emberline ${words_dir}/fish/emberline.fish
    COMMAND ${CMAKE_COMMAND} -DPROGRAM=$<TARGET_FILE:emberline> -DDATA=${PROJECT_SOURCE_DIR}/data -DAWK=${EMBERLINE_AWK}
            -DGZIP=${EMBERLINE_GZIP} -DHANDBOOK_TO_MAN=${CMAKE_CURRENT_LIST_DIR}/handbook_to_man.awk
            -DOUTPUT=${words_dir} -DVERSION=${PROJECT_VERSION} -DDATE=2026-11-27
            -P ${CMAKE_CURRENT_LIST_DIR}/MakeWords.cmake
    DEPENDS emberline ${words_sources} ${CMAKE_CURRENT_LIST_DIR}/MakeWords.cmake
            ${CMAKE_CURRENT_LIST_DIR}/handbook_to_man.awk
    COMMENT "Writing man pages and completions"
    VERBATIM)
add_custom_target(emberline_words ALL DEPENDS ${words_dir}/emberline.1.gz)

install(FILES ${words_dir}/emberline.1.gz DESTINATION ${CMAKE_INSTALL_MANDIR}/man1 COMPONENT program)
install(FILES ${words_dir}/emberline-handbook.7.gz DESTINATION ${CMAKE_INSTALL_MANDIR}/man7 COMPONENT program)
install(FILES ${words_dir}/bash/emberline DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions
        COMPONENT program)
install(FILES ${words_dir}/zsh/_emberline DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/site-functions COMPONENT program)
install(FILES ${words_dir}/fish/emberline.fish DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d
        COMPONENT program)
foreach(package_component emberline:program libemberline-dev:development)
    string(REPLACE ":" ";" package_component ${package_component})
    list(GET package_component 0 package)
    list(GET package_component 1 component)
    install(FILES ${words_dir}/changelog.gz ${PROJECT_SOURCE_DIR}/data/package/copyright
            DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/${package} COMPONENT ${component})
endforeach()
