# Fetches the packages of package.json into FOLDER unless the exact versions are there already.
# cmake -DSOURCE=... -DFOLDER=... -P fetch.cmake
file(MAKE_DIRECTORY ${FOLDER})
configure_file(${SOURCE}/package.json ${FOLDER}/package.json COPYONLY)
execute_process(COMMAND npm install --no-audit --no-fund --ignore-scripts WORKING_DIRECTORY ${FOLDER}
                RESULT_VARIABLE failed)
if(failed)
  message(FATAL_ERROR "npm could not fetch the packages of ${SOURCE}/package.json")
endif()
