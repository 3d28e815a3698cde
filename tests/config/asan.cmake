# cmake -S . -B build/asan -C tests/config/asan.cmake
set(CMAKE_BUILD_TYPE Debug CACHE STRING "")
set(CMAKE_C_FLAGS "-O1 -g -fsanitize=address,undefined -fno-sanitize-recover=all -fno-omit-frame-pointer" CACHE STRING "")
set(KNOCKBOX_WERROR ON CACHE BOOL "")
