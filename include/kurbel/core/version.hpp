// The one place where the version is written; CMake and the Python package read it from here.
#pragma once

#define KURBEL_VERSION_MAJOR 0
#define KURBEL_VERSION_MINOR 1
#define KURBEL_VERSION_PATCH 0
#define KURBEL_VERSION_STRING "0.1.0"
