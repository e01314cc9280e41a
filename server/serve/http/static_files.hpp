#pragma once
/// The dashboard's files by exact path, from memory. No path ever reaches the file system.
#include <map>
#include <span>
#include <string>
#include <string_view>

#include "server/serve/assets.hpp"
#include "server/serve/http/answer.hpp"

namespace turnstone {

class StaticFiles {
  public:
    explicit StaticFiles(std::span<const Asset> assets);
    /// 200, 304 or 404. A client that does not take gzip gets the file inflated.
    [[nodiscard]] Answer answer(const Request& request) const;

  private:
    struct File {
        Asset asset;
        std::string tag; ///< hash of the stored bytes, without quotes
    };
    std::map<std::string_view, File> files_;
};

} // namespace turnstone
