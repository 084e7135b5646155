# wp_embed(TARGET PREFIX [BASE DIR] FILE...) puts files into a library as PREFIX_files, a table of
# struct wp_embedded (base/embed.h) in the order of their names; PREFIX_count is its length. A name
# is the path below BASE (default: the current source folder), with '/'. Each file is followed by a
# zero byte that its size does not count.
#
# The table is written in assembler because C cannot take the difference of two symbols as a
# constant, and so the sizes are right after every edit without configuring anew.
function(wp_embed target prefix)
  cmake_parse_arguments(EMBED "" "BASE" "" ${ARGN})
  if(NOT EMBED_BASE)
    set(EMBED_BASE ${CMAKE_CURRENT_SOURCE_DIR})
  endif()
  list(SORT EMBED_UNPARSED_ARGUMENTS)
  set(bodies "")
  set(table "")
  set(paths "")
  set(index 0)
  foreach(file IN LISTS EMBED_UNPARSED_ARGUMENTS)
    cmake_path(ABSOLUTE_PATH file BASE_DIRECTORY ${EMBED_BASE} NORMALIZE OUTPUT_VARIABLE path)
    cmake_path(RELATIVE_PATH path BASE_DIRECTORY ${EMBED_BASE} OUTPUT_VARIABLE name)
    set(label .L${prefix}_${index})
    string(APPEND bodies "    \"${label}: .incbin \\\"${path}\\\"\\n${label}_end: .byte 0\\n"
                         "${label}_name: .asciz \\\"${name}\\\"\\n\"\n")
    string(APPEND table "    WORD \" ${label}_name, ${label}, ${label}_end - ${label}\\n\"\n")
    list(APPEND paths ${path})
    math(EXPR index "${index} + 1")
  endforeach()
  set(source ${CMAKE_CURRENT_BINARY_DIR}/${prefix}_embedded.c)
  file(CONFIGURE OUTPUT ${source} @ONLY CONTENT [[
#if __SIZEOF_POINTER__ == 8
#define WORD ".quad"
#else
#define WORD ".long"
#endif
__asm__(
    ".section .rodata\n"
@bodies@    ".section .data.rel.ro, \"aw\"\n"
    ".balign 8\n"
    ".globl @prefix@_files, @prefix@_count\n"
    "@prefix@_files:\n"
@table@    "@prefix@_count:\n"
    WORD " @index@\n"
    ".text\n");
]])
  set_source_files_properties(${source} PROPERTIES OBJECT_DEPENDS "${paths}")
  target_sources(${target} PRIVATE ${source})
endfunction()
