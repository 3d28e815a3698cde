# cmake -S . -B build/tsan -G Ninja -C tests/config/tsan.cmake && cmake --build build/tsan --target test_sync_threads
set(CMAKE_BUILD_TYPE Debug CACHE STRING "")
set(CMAKE_C_FLAGS "-O1 -g -fsanitize=thread -fno-omit-frame-pointer" CACHE STRING "")
set(KNOCKBOX_WERROR ON CACHE BOOL "")
