# cmake --install, and `cpack` for a Debian package with a systemd unit.
include(GNUInstallDirs)
find_program(TURNSTONE_GZIP gzip REQUIRED)

# Policy wants what man and changelog readers open compressed, without the time of the build in it.
# turnstone_compressed(<output> <input>)
set(compressed_files)
macro(turnstone_compressed output input)
  add_custom_command(OUTPUT "${output}" COMMAND "${TURNSTONE_GZIP}" -9nc "${input}" > "${output}" DEPENDS "${input}" VERBATIM)
  list(APPEND compressed_files "${output}")
endmacro()
set(manual "${PROJECT_BINARY_DIR}/manual")
file(MAKE_DIRECTORY "${manual}")
add_custom_command(OUTPUT "${manual}/turnstone.1" "${manual}/turnstone.json.5"
  COMMAND write_manual "${manual}" DEPENDS write_manual VERBATIM)
turnstone_compressed("${manual}/turnstone.1.gz" "${manual}/turnstone.1")
turnstone_compressed("${manual}/turnstone.json.5.gz" "${manual}/turnstone.json.5")
turnstone_compressed("${manual}/changelog.gz" "${PROJECT_SOURCE_DIR}/tools/package/changelog")
set(in_all)
if(TURNSTONE_CONFIG STREQUAL release AND NOT TURNSTONE_FUZZ)
  set(in_all ALL) # no other configuration is packaged
endif()
add_custom_target(manual ${in_all} DEPENDS ${compressed_files})

install(TARGETS turnstone RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
install(FILES README.md DEVELOPERS.md protocol/DICTIONARY.md protocol/LINK.md protocol/STREAM.md tools/package/copyright
  "${manual}/changelog.gz" DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/turnstone)
install(FILES "${manual}/turnstone.1.gz" DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
install(FILES "${manual}/turnstone.json.5.gz" DESTINATION ${CMAKE_INSTALL_MANDIR}/man5)
install(DIRECTORY protocol/schema DESTINATION ${CMAKE_INSTALL_DATADIR}/turnstone)
install(DIRECTORY tools/demo/ DESTINATION ${CMAKE_INSTALL_DATADIR}/turnstone/example
  PATTERN airframe.json EXCLUDE PATTERN turnstone.json EXCLUDE)
install(FILES tools/package/turnstone.service DESTINATION lib/systemd/system)
# An operator key may stand in it.
install(FILES tools/package/turnstone.json DESTINATION /etc/turnstone PERMISSIONS OWNER_READ OWNER_WRITE GROUP_READ)
install(FILES tools/package/lintian-overrides DESTINATION ${CMAKE_INSTALL_DATADIR}/lintian/overrides RENAME turnstone)

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME turnstone)
set(CPACK_PACKAGE_VERSION ${PROJECT_VERSION})
set(CPACK_PACKAGE_CONTACT "Turnstone maintainers <maintainers@turnstone.invalid>")
set(CPACK_PACKAGE_DIRECTORY "${PROJECT_BINARY_DIR}/package")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "telemetry ground station for volunteer rocketry")
set(CPACK_DEBIAN_PACKAGE_DESCRIPTION "Records every byte that serial, UDP and TCP links deliver, decodes and checks
them by a dictionary of the vehicle's packets, estimates what the vehicle does
and how sure that is, and shows it live and replayed in browsers.

It only receives: it cannot command, arm or fire anything.")
set(CPACK_DEBIAN_PACKAGE_SECTION hamradio)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_DEPENDS "passwd, init-system-helpers (>= 1.54)")
set(control_files)
foreach(name postinst prerm postrm conffiles)
  list(APPEND control_files "${PROJECT_SOURCE_DIR}/tools/package/${name}")
endforeach()
set(CPACK_DEBIAN_PACKAGE_CONTROL_EXTRA ${control_files})
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
include(CPack)
