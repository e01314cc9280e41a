#pragma once

namespace turnstone::report {

/// The stylesheet and the colours, written by CMake from style.css and from the dashboard's tokens.
extern const char* const kPageStyle;

} // namespace turnstone::report
