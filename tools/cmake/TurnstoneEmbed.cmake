# Embeds a folder of files, each compressed with gzip, into a static library.
#
#   turnstone_embed(<library> FOLDER <dir> DEPENDS <files...> [COMMAND <command that fills the folder>...])
#
# File names may carry hashes of their content, so that what the folder holds is known only when it has been built: this
# file, run as a script, lists it then and writes the two sources of the library, whose names are fixed.
if(CMAKE_SCRIPT_MODE_FILE)
  cmake_minimum_required(VERSION 3.25)
  set(types
    html=text/html js=text/javascript css=text/css txt=text/plain svg=image/svg+xml json=application/json
    webmanifest=application/manifest+json png=image/png ico=image/x-icon woff2=font/woff2)
  file(GLOB_RECURSE files RELATIVE "${FOLDER}" "${FOLDER}/*")
  list(SORT files)
  if(NOT "index.html" IN_LIST files)
    message(FATAL_ERROR "there is no index.html in ${FOLDER}; the dashboard's build did not write there")
  endif()
  set(assembly ".section .rodata\n")
  set(declarations "")
  set(rows "")
  set(number 0)
  file(REMOVE_RECURSE "${WORK}/gzip")
  file(MAKE_DIRECTORY "${WORK}/gzip")
  foreach(path IN LISTS files)
    string(REGEX REPLACE "^.*\\." "" ending "${path}")
    set(type "")
    foreach(entry IN LISTS types)
      if(entry MATCHES "^${ending}=(.*)$")
        set(type "${CMAKE_MATCH_1}")
      endif()
    endforeach()
    if(type STREQUAL "")
      message(FATAL_ERROR "${FOLDER}/${path}: no content type is known for '.${ending}'; add it to tools/cmake/TurnstoneEmbed.cmake")
    endif()
    if(type MATCHES "^text/")
      string(APPEND type "; charset=utf-8")
    endif()
    set(packed "${WORK}/gzip/${number}.gz")
    execute_process(COMMAND gzip -9 -n -c "${FOLDER}/${path}" OUTPUT_FILE "${packed}" RESULT_VARIABLE failed)
    if(failed)
      message(FATAL_ERROR "gzip could not compress ${FOLDER}/${path}")
    endif()
    string(APPEND assembly ".balign 16\n.globl turnstone_asset_${number}_begin\n.globl turnstone_asset_${number}_end\n"
      "turnstone_asset_${number}_begin:\n.incbin \"${packed}\"\nturnstone_asset_${number}_end:\n")
    string(APPEND declarations
      "extern const unsigned char turnstone_asset_${number}_begin[];\nextern const unsigned char turnstone_asset_${number}_end[];\n")
    string(APPEND rows
      "    {\"/${path}\", turnstone_asset_${number}_begin, turnstone_asset_${number}_end, \"${type}\"},\n")
    math(EXPR number "${number} + 1")
  endforeach()
  string(APPEND assembly ".section .note.GNU-stack,\"\",%progbits\n")
  file(WRITE "${WORK}/assets.S" "${assembly}")
  file(WRITE "${WORK}/assets.cpp" "#include \"server/serve/assets.hpp\"\n\nextern \"C\" {\n${declarations}}\n\nnamespace turnstone {\n"
    "namespace {\nconst Asset kAssets[] = {\n${rows}};\n} // namespace\n\n"
    "std::span<const Asset> embedded_assets() noexcept { return kAssets; }\n\n} // namespace turnstone\n")
  return()
endif()

set(TURNSTONE_EMBED_SCRIPT "${CMAKE_CURRENT_LIST_FILE}")

function(turnstone_embed library)
  cmake_parse_arguments(PARSE_ARGV 1 arg "" "FOLDER" "DEPENDS;COMMAND")
  set(work "${CMAKE_CURRENT_BINARY_DIR}/${library}")
  set(fill "")
  if(arg_COMMAND)
    set(fill COMMAND ${arg_COMMAND})
  endif()
  add_custom_command(OUTPUT "${work}/assets.S" "${work}/assets.cpp"
    ${fill}
    COMMAND "${CMAKE_COMMAND}" "-DFOLDER=${arg_FOLDER}" "-DWORK=${work}" -P "${TURNSTONE_EMBED_SCRIPT}"
    DEPENDS ${arg_DEPENDS} "${TURNSTONE_EMBED_SCRIPT}"
    WORKING_DIRECTORY "${CMAKE_CURRENT_SOURCE_DIR}"
    COMMENT "Building and embedding the dashboard" VERBATIM)
  add_library(${library} STATIC "${work}/assets.S" "${work}/assets.cpp")
  target_link_libraries(${library} PRIVATE turnstone_options)
  # The assembler's input names files the compiler's dependency scan does not see.
  set_source_files_properties("${work}/assets.S" PROPERTIES OBJECT_DEPENDS "${work}/assets.cpp")
endfunction()
