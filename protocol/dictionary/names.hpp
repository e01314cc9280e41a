#pragma once
/// Names in dictionary.json. Inner part of read_dictionary().
#include <map>
#include <string>
#include <string_view>

#include "shared/json_reader.hpp"

namespace turnstone {

/// Reports a name that is not [a-z][a-z0-9_]* (with `hyphen`: - as well), too long, a word of C or C++, or one that the
/// recording keeps for itself.
std::string read_name(JsonReader& reader, std::string_view key, bool hyphen = false);

/// Names that must not appear twice, and where each appeared first.
class Uniques {
  public:
    /// False: it has been reported.
    bool check(JsonReader& reader, std::string_view key, const std::string& name, const std::string& what);

  private:
    std::map<std::string, std::string> first_;
};

} // namespace turnstone
