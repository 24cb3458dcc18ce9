# SPDX-License-Identifier: MIT
# cmake -DPROGRAM=… -DDATA=data -DAWK=… -DHANDBOOK_TO_MAN=… -DGZIP=… -DOUTPUT=… -DVERSION=… -DDATE=… -P MakeWords.cmake
# Writes man pages and completions into OUTPUT, from what the program says of itself; see EmberlineWords.cmake.
cmake_policy(VERSION 3.25)

function(ask result)
    execute_process(COMMAND ${ARGN} OUTPUT_VARIABLE answer RESULT_VARIABLE failed)
    if(failed)
        message(FATAL_ERROR "'${ARGN}' failed (${failed}).")
    endif()
    set(${result} "${answer}" PARENT_SCOPE)
endfunction()

# Without the time of packing, so that the same source gives the same bytes.
function(compress file)
    execute_process(COMMAND ${GZIP} -9 -n -f ${file} RESULT_VARIABLE failed)
    if(failed)
        message(FATAL_ERROR "${file} cannot be compressed.")
    endif()
endfunction()

file(REMOVE_RECURSE ${OUTPUT})
file(MAKE_DIRECTORY ${OUTPUT})
foreach(shell_file bash/emberline zsh/_emberline fish/emberline.fish)
    get_filename_component(shell ${shell_file} DIRECTORY)
    ask(text ${PROGRAM} describe ${shell})
    file(WRITE ${OUTPUT}/${shell_file} "${text}")
endforeach()

ask(commands ${PROGRAM} describe man)
ask(ignored ${PROGRAM} new ${OUTPUT}/new)
file(READ ${OUTPUT}/new/campaign.toml settings)
string(REPLACE "\\" "\\e" settings "${settings}")
string(REPLACE "-" "\\-" settings "${settings}")
file(REMOVE_RECURSE ${OUTPUT}/new)
file(READ ${DATA}/package/emberline.1.in page)
string(REPLACE "@VERSION@" "${VERSION}" page "${page}")
string(REPLACE "@DATE@" "${DATE}" page "${page}")
string(REPLACE "@COMMANDS@\n" "${commands}" page "${page}")
string(REPLACE "@SETTINGS@\n" ".PP\n.nf\n${settings}.fi\n" page "${page}")
file(WRITE ${OUTPUT}/emberline.1 "${page}")

ask(handbook ${AWK} -v version=${VERSION} -v date=${DATE} -f ${HANDBOOK_TO_MAN} ${DATA}/handbook.md)
file(WRITE ${OUTPUT}/emberline-handbook.7 "${handbook}")
file(COPY ${DATA}/package/changelog DESTINATION ${OUTPUT})
foreach(file emberline.1 emberline-handbook.7 changelog)
    compress(${OUTPUT}/${file})
endforeach()
