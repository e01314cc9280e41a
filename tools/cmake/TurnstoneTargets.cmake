# What would run for minutes without optimisation has it in every configuration. In release, test programs have less than what
# they test: it saves a quarter of the time to compile them.
function(turnstone_optimise target)
  if(TURNSTONE_CONFIG STREQUAL release)
    if(target MATCHES "^test_")
      target_compile_options(${target} PRIVATE -O1)
    endif()
  elseif(target MATCHES "^(test_)?(shared|protocol|estimate|sim)$")
    target_compile_options(${target} PRIVATE -O1)
  endif()
endfunction()

# A folder is a library: the .cpp files in it and below it, and nothing else. CONFIGURE_DEPENDS makes a new file join at the next build.
function(turnstone_library name)
  file(GLOB_RECURSE sources CONFIGURE_DEPENDS "${CMAKE_CURRENT_SOURCE_DIR}/*.cpp")
  add_library(${name} STATIC ${sources})
  target_link_libraries(${name} PUBLIC turnstone_options)
  turnstone_optimise(${name})
endfunction()

# A folder below tests/ is one Catch2 program, test_<folder>; ctest sees each of its cases.
# turnstone_test(<folder> <libraries...>)
function(turnstone_test folder)
  file(GLOB_RECURSE sources CONFIGURE_DEPENDS "${CMAKE_CURRENT_SOURCE_DIR}/${folder}/*.cpp")
  if(NOT sources)
    message(WARNING "tests/${folder} has no source yet; test_${folder} is left out")
    return()
  endif()
  add_executable(test_${folder} ${sources})
  add_dependencies(unit_tests test_${folder})
  target_link_libraries(test_${folder} PRIVATE test_support ${ARGN})
  turnstone_optimise(test_${folder})
  catch_discover_tests(test_${folder} TEST_PREFIX "${folder}: " DISCOVERY_MODE PRE_TEST PROPERTIES TIMEOUT 300)
endfunction()
