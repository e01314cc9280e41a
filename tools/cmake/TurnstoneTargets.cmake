# What would run for minutes without optimisation has it in every configuration. In release, test programs have less than what
# they test: it saves a quarter of the time to compile them.
function(turnstone_optimise target)
  if(TURNSTONE_CONFIG STREQUAL release)
    if(target MATCHES "^test_")
      target_compile_options(${target} PRIVATE -O1)
    endif()
  elseif(target MATCHES "^(shared|protocol|estimate|analysis|debrief|exchange|sim|pipeline|pipeline_data|record)$|^test_(estimate|analysis|debrief|sim)$")
    target_compile_options(${target} PRIVATE -O1)
  endif()
endfunction()

# A folder is a library: the .cpp files in it and below it, and nothing else. CONFIGURE_DEPENDS makes a new file join at the next build.
# turnstone_library(<name> [<patterns...>]): a part of the folder's files, where not all of them are one library
function(turnstone_library name)
  if(ARGN)
    list(TRANSFORM ARGN PREPEND "${CMAKE_CURRENT_SOURCE_DIR}/" OUTPUT_VARIABLE patterns)
    file(GLOB sources CONFIGURE_DEPENDS ${patterns})
  else()
    file(GLOB_RECURSE sources CONFIGURE_DEPENDS "${CMAKE_CURRENT_SOURCE_DIR}/*.cpp")
  endif()
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
  target_link_libraries(test_${folder} PRIVATE test_support ${ARGN})
  turnstone_optimise(test_${folder})
  if(TURNSTONE_CONFIG STREQUAL release)
    # A case that a name does not find would pass.
    catch_discover_tests(test_${folder} TEST_PREFIX "${folder}: " EXTRA_ARGS --warn NoTests PROPERTIES TIMEOUT 300)
    return()
  endif()
  # With sanitizers a program is one test: to start it again for each case took a sixth of the time. What flies many flights for their
  # numbers alone is flown once, in release: it would take as long as all others.
  add_test(NAME ${folder} COMMAND test_${folder} "~[statistics]")
  set_tests_properties(${folder} PROPERTIES TIMEOUT 2000)
  # What only computes takes a third of the instrumented build, and its code is run by the pipeline's tests too: by a command of its own.
  if(folder MATCHES "^(estimate|analysis|debrief|sim)$")
    set_target_properties(test_${folder} PROPERTIES EXCLUDE_FROM_ALL TRUE)
    add_dependencies(numerics test_${folder})
    set_tests_properties(${folder} PROPERTIES LABELS numerics)
  else()
    add_dependencies(unit_tests test_${folder})
  endif()
endfunction()
