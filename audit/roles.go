package audit

// Role is what a person may do beyond looking.
type Role string

// The roles. A person may have several; one who records at a bench by the command line needs none.
const (
	Technician    Role = "technician"    // records at benches
	Lead          Role = "lead"          // judges: concessions, corrections, release, procedures
	Warranty      Role = "warranty"      // looks up claims
	Administrator Role = "administrator" // people, wrenches, keys
)

// Roles lists all roles in the order in which they are shown.
func Roles() []Role { return []Role{Technician, Lead, Warranty, Administrator} }

// AllRoles is Roles as RolesGiven has them.
func AllRoles() []string {
	var out []string
	for _, r := range Roles() {
		out = append(out, string(r))
	}
	return out
}

// RolesGiven says which roles a person has from now on; none disables the person's sign-in.
type RolesGiven struct {
	Person string   `json:"person" db:"person"`
	Roles  []string `json:"roles" db:"roles"`
	By     string   `json:"by" db:"given_by"` // empty: the first one, who had the set-up code
}

// Kind implements Event.
func (RolesGiven) Kind() string { return "roles" }
