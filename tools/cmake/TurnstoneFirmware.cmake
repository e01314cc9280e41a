# turnstone_firmware_header(<target> <dictionary.json> <header>): generates the C99 telemetry header before <target> is
# compiled and lets it say #include "<header>".
function(turnstone_firmware_header target dictionary header)
  set(folder "${PROJECT_BINARY_DIR}/generated/${target}")
  get_filename_component(dictionary "${dictionary}" ABSOLUTE)
  file(MAKE_DIRECTORY "${folder}")
  add_custom_command(OUTPUT "${folder}/${header}"
    COMMAND firmware_header "${dictionary}" "${folder}/${header}"
    DEPENDS firmware_header "${dictionary}"
    COMMENT "Generating ${header}"
    VERBATIM)
  target_sources(${target} PRIVATE "${folder}/${header}")
  target_include_directories(${target} PRIVATE "${folder}")
endfunction()
