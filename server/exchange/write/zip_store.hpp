#pragma once
/// A ZIP file of uncompressed members, written from front to end: APPNOTE.TXT 6.3.10 (PKWARE), always with the 64-bit
/// sizes of its section 4.5.3, as NumPy writes its own. A member's checksum stands behind it (4.3.9).
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "server/exchange/write/output.hpp"

namespace turnstone::exchange {

class ZipStore {
  public:
    explicit ZipStore(Output& out) : out_(out), start_(out.bytes()) {}
    /// `bytes`: of the content that follows in `put`, no more and no less.
    void begin(std::string name, std::uint64_t bytes);
    void put(std::string_view content);
    void end();
    /// After the last member.
    void finish();

  private:
    struct Member {
        std::string name;
        std::uint64_t offset, bytes;
        std::uint32_t crc;
    };
    Output& out_;
    std::uint64_t start_;
    std::vector<Member> members_;
};

} // namespace turnstone::exchange
