# Fetches uPlot once and takes its script and style; a file that is not what was reviewed stops the
# build.
function(fetch_uplot)
  find_program(NPM npm)
  if(NOT NPM)
    message(FATAL_ERROR "npm is needed to fetch the plot library uplot@${UPLOT_VERSION}: apt-get install nodejs npm")
  endif()
  file(MAKE_DIRECTORY ${UPLOT_FOLDER})
  execute_process(COMMAND ${NPM} pack --silent uplot@${UPLOT_VERSION}
                  WORKING_DIRECTORY ${UPLOT_FOLDER} RESULT_VARIABLE result ERROR_VARIABLE said
                  OUTPUT_QUIET TIMEOUT 120)
  if(NOT result EQUAL 0)
    message(FATAL_ERROR "npm could not fetch uplot@${UPLOT_VERSION}: ${said}")
  endif()
  file(ARCHIVE_EXTRACT INPUT ${UPLOT_FOLDER}/uplot-${UPLOT_VERSION}.tgz
       DESTINATION ${UPLOT_FOLDER})
  configure_file(${UPLOT_FOLDER}/package/dist/uPlot.iife.min.js ${UPLOT_FOLDER}/uplot.js COPYONLY)
  configure_file(${UPLOT_FOLDER}/package/dist/uPlot.min.css ${UPLOT_FOLDER}/uplot.css COPYONLY)
endfunction()

foreach(file IN LISTS UPLOT_FILES)
  if(NOT EXISTS ${file})
    fetch_uplot()
  endif()
endforeach()
foreach(file sum IN ZIP_LISTS UPLOT_FILES UPLOT_SUMS)
  file(SHA256 ${file} found)
  if(NOT found STREQUAL sum)
    message(FATAL_ERROR "${file} is not the file that was reviewed: SHA-256 ${found}, expected ${sum}")
  endif()
endforeach()
