/* calc_driver.c - the bench calculator as a program of its own, for scripts that try it. */
#include "client/calc/calc.h"

int
main(int argc, char **argv)
{
    return calc_command(argc - 1, argv + 1, false, stdout, stderr);
}
