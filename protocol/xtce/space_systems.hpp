#pragma once
/// The parameter types, parameters and containers of an XTCE document by their names, and how they refer to each other.
/// Inner part of import_xtce().
#include <map>
#include <string>
#include <vector>

#include "protocol/xtce/xml_tree.hpp"

namespace turnstone {

enum class XtceKind : unsigned char { type, parameter, container };

struct XtceItem {
    const XmlElement* element = nullptr;
    std::string system; ///< path of the space system that it is in: "/demo/bus"
};

class SpaceSystems {
  public:
    /// `root` must outlive it.
    explicit SpaceSystems(const XmlElement& root);

    /// A reference is a name, or a path from the space system it stands in, from one around that, or from the root.
    /// Null: there is none.
    [[nodiscard]] const XtceItem* find(XtceKind kind, const std::string& from, const std::string& reference) const;
    /// In the order of the document.
    [[nodiscard]] const std::vector<XtceItem>& containers() const noexcept { return containers_; }

  private:
    void add(const XmlElement& system, const std::string& around);

    std::map<std::pair<XtceKind, std::string>, XtceItem> items_;
    std::vector<XtceItem> containers_;
};

} // namespace turnstone
