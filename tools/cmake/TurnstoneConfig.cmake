# Language level, warnings, sanitizers and output folders, the same for every target of ours.
set(CMAKE_CXX_STANDARD 20)
set(CMAKE_CXX_STANDARD_REQUIRED ON)
set(CMAKE_CXX_EXTENSIONS OFF)
set(CMAKE_C_STANDARD 99)
set(CMAKE_POSITION_INDEPENDENT_CODE ON)
set(CMAKE_EXPORT_COMPILE_COMMANDS ON)
set(CMAKE_RUNTIME_OUTPUT_DIRECTORY "${PROJECT_BINARY_DIR}/bin")
if(NOT CMAKE_BUILD_TYPE)
  set(CMAKE_BUILD_TYPE Release)
endif()

# -O2, not -O3: smaller code, and the hot loops were measured to gain nothing. Frame pointers keep profilers honest.
set(CMAKE_C_FLAGS_RELEASE "-O2")
set(CMAKE_CXX_FLAGS_RELEASE "-O2")
add_compile_options(-fno-omit-frame-pointer)
# Several files of a folder are compiled at a time, which takes half of the time. One by one, each on its own includes and with
# every warning, they are compiled for tools/tidy.
option(TURNSTONE_UNITY "Compile several files of a folder at a time" ON)
set(CMAKE_UNITY_BUILD ${TURNSTONE_UNITY})
# Sixteen at a time took a quarter less than eight, and up to 2 GB a compiler; g++ collects its garbage only beyond 0.8 GB.
set(CMAKE_UNITY_BUILD_BATCH_SIZE 16)
add_compile_options($<$<COMPILE_LANG_AND_ID:CXX,GNU>:--param=ggc-min-heapsize=800000>)
if(NOT TURNSTONE_CONFIG STREQUAL "release")
  # Sixty-four take a third less again; nobody edits a file and waits here.
  set(CMAKE_UNITY_BUILD_BATCH_SIZE 64)
  # Without optimisation but for the folders of TurnstoneTargets.cmake that compute.
  set(CMAKE_C_FLAGS_RELEASE "-O0")
  set(CMAKE_CXX_FLAGS_RELEASE "-O0")
endif()

if(TURNSTONE_FUZZ) # libFuzzer programs; everything they link is instrumented too
  add_compile_options(-g1 -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize=function -fno-sanitize-recover=all) # as below
  add_link_options(-fsanitize=address,undefined)
elseif(TURNSTONE_CONFIG STREQUAL "asan-ubsan")
  # Null, misaligned and overlong accesses end in the address sanitizer too. Checked at every access of Eigen's, they took two
  # fifths of the time to compile; line numbers, a seventh: reports name functions, and -DCMAKE_CXX_FLAGS=-g1 gives lines. Clang 14's
  # check of function types does not assemble with coroutines.
  add_compile_options(-fsanitize=address,undefined -fno-sanitize=null,alignment,object-size,pointer-overflow
    -fno-sanitize-recover=all $<$<CXX_COMPILER_ID:Clang>:-fno-sanitize=function>)
  add_link_options(-fsanitize=address,undefined)
elseif(TURNSTONE_CONFIG STREQUAL "tsan")
  add_compile_options(-fsanitize=thread $<$<CXX_COMPILER_ID:GNU>:-Wno-tsan>) # Asio has a fence that it cannot follow
  add_link_options(-fsanitize=thread $<$<CXX_COMPILER_ID:Clang>:LINKER:-z,muldefs>) # a test's operator new stands before its own
elseif(NOT TURNSTONE_CONFIG STREQUAL "release")
  message(FATAL_ERROR "TURNSTONE_CONFIG is '${TURNSTONE_CONFIG}'; use release, asan-ubsan or tsan")
endif()

# Under sanitizers, folders that only compute come as build/release has them, unless all shall be watched: that saves half of the
# time to compile, and their own tests run in release. The thread sanitizer watches the folders that have threads.
option(TURNSTONE_WATCH_ALL "Instrument what only computes, too" OFF)
set(TURNSTONE_FROM_RELEASE "")
if(NOT TURNSTONE_WATCH_ALL AND NOT TURNSTONE_FUZZ)
  if(TURNSTONE_CONFIG STREQUAL "asan-ubsan")
    set(TURNSTONE_FROM_RELEASE "estimate|analysis|monitor|debrief|report|sim")
  elseif(TURNSTONE_CONFIG STREQUAL "tsan")
    set(TURNSTONE_FROM_RELEASE "shared|protocol|estimate|analysis|monitor|pipeline_data|pipeline|setup|debrief|exchange|report|sim")
  endif()
  if(TURNSTONE_FROM_RELEASE AND NOT EXISTS "${PROJECT_SOURCE_DIR}/build/release/build.ninja")
    message(FATAL_ERROR "Build build/release first (tools/test does), or instrument everything: -DTURNSTONE_WATCH_ALL=ON")
  endif()
endif()

# Bit-for-bit replay needs the same rounding in every build: no fused multiply-add that one has and another has not.
add_compile_options(-ffp-contract=off)

# Everything a target of ours compiles with; third-party headers come in as SYSTEM and are exempt.
add_library(turnstone_options INTERFACE)
target_compile_options(turnstone_options INTERFACE
  -Wall -Wextra -Wshadow -Werror
  $<$<COMPILE_LANGUAGE:CXX>:-Wconversion>
  $<$<CXX_COMPILER_ID:Clang>:-Wno-sign-conversion> # as -Wconversion means it in C++ to g++
  # g++ 12 reports Eigen's small fixed vectors as perhaps uninitialised wherever they are returned by value.
  $<$<CXX_COMPILER_ID:GNU>:-Wno-maybe-uninitialized>
  # Neighbours that are compiled together are not scopes of each other.
  $<$<BOOL:$<TARGET_PROPERTY:UNITY_BUILD>>:-Wno-shadow $<$<COMPILE_LANG_AND_ID:CXX,GNU>:-Wno-subobject-linkage>>)
target_include_directories(turnstone_options INTERFACE "${PROJECT_SOURCE_DIR}")
target_compile_definitions(turnstone_options INTERFACE
  TURNSTONE_VERSION="${PROJECT_VERSION}" BOOST_ASIO_NO_DEPRECATED)
