# SPDX-License-Identifier: MIT
# cmake -DSOURCE=tests/page/browser -DWORK=… -DNPM=… -P fetch_browser_tests.cmake: the browser's tests with what they
# need, in the build folder. No browser is fetched: Debian's is used.
file(COPY ${SOURCE}/ DESTINATION ${WORK} PATTERN node_modules EXCLUDE)
file(SHA256 ${WORK}/package-lock.json wanted)
set(installed "")
if(EXISTS ${WORK}/installed.txt)
    file(READ ${WORK}/installed.txt installed)
endif()
if(NOT installed STREQUAL wanted)
    execute_process(COMMAND ${NPM} ci --no-audit --no-fund --loglevel=error WORKING_DIRECTORY ${WORK} COMMAND_ERROR_IS_FATAL ANY)
    file(WRITE ${WORK}/installed.txt ${wanted})
endif()
