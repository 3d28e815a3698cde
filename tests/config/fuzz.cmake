# cmake -S . -B build/fuzz -G Ninja -C tests/config/fuzz.cmake
set(CMAKE_C_COMPILER clang-14 CACHE STRING "")
set(CMAKE_BUILD_TYPE Debug CACHE STRING "")
set(CMAKE_C_FLAGS "-O1 -g -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=all" CACHE STRING "")
set(KNOCKBOX_WERROR ON CACHE BOOL "")
set(KNOCKBOX_FUZZ ON CACHE BOOL "")
